"""Station set-up on screen: choose inputs, try them, keep the profile."""
