"""Where evidence comes from: sound card, serial port, audio files, the simulated bench."""
