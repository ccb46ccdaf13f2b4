"""What people gave on the command line, as settings and values of the library."""
