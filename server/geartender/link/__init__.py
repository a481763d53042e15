"""The line to the firmware: lines and exchange without I/O, and the serial port."""
