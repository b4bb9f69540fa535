"""What a bag says of itself to whoever holds it: origin and roast date, and nothing private."""
