"""A board at a serial port: real interpreter, littlefs and board file; boot.py says what stands in."""
