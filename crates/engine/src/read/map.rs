//! Column maps: what the columns of a delimited text mean.

/// What the columns of a delimited text mean, read from a small TOML file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ColumnMap {}
