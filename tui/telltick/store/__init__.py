"""The only owner of bytes on disk: journal, audio segments, reader, station files."""
