"""`python -m app` is `jutebook`."""

from app.cli import main

if __name__ == "__main__":
    main()
