"""Parts and networks: everything between the amplifier and the voice coil."""
