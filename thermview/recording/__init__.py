"""The HDF5 recording: schema, reader, writer, verify, repair."""
