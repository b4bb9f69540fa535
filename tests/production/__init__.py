"""What has to be produced."""
