"""Work over a whole archive of bundles: once more checked, heard, aligned or reported, one result each."""
