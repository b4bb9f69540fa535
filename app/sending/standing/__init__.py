"""Standing orders: what a customer wants again and again, called off date by date."""
