"""What stands on a ride plan's page; pure views."""
