"""The notes on the API: their examples run, their tables are generated, their document is ours."""
