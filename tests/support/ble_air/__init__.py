"""From the firmware's radio to bleak: bumble's virtual link, a stand-in of org.bluez, a D-Bus of our own."""
