"""`python -m sitegen` is the command `sitegen`."""

from sitegen.cli import main

if __name__ == "__main__":
    main(prog_name="sitegen")
