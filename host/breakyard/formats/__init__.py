"""Files in and out: recordings of other instruments, curves and tables for other programs."""
