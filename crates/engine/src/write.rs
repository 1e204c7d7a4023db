//! Recordings written out: delimited text and EDF+.
