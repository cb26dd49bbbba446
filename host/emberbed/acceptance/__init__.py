"""What a device has been accepted for: reports on a shelf, what an update leaves of them."""
