raise RuntimeError("a package of data is never imported")
