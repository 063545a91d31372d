"""``python -m fieldlog.lab``, from a checkout."""

from fieldlog.lab.command import lab

if __name__ == "__main__":
    lab(prog_name="python -m fieldlog.lab")
