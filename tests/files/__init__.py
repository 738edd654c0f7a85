"""What people write in the three files, well and badly."""
