"""One module a command: run(args) -> exit code, and what it prints."""
