"""The core: a program as a finite machine of signals, state bits and plain boolean functions."""
