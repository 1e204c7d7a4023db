//! Rows cut into cells.
//!
//! Nearly every monitor writes plain text: with no quotation mark anywhere, a row ends at a line end and
//! a cell at a separator, and nothing needs copying. A text with quotation marks goes through the CSV
//! reader; both give the same cells and lines.

use std::ops::Range;

use crate::read::ReadError;
use crate::read::text::table;

/// One row.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row<'r> {
    /// Line in the text.
    pub(super) line: u64,
    /// Whether the text ends with it.
    pub(super) last: bool,
    text: &'r [u8],
    cells: &'r [Range<usize>],
}

impl<'r> Row<'r> {
    /// How many cells.
    pub(super) fn len(&self) -> usize {
        self.cells.len()
    }

    /// The cell in a column; empty where the row is too short.
    pub(super) fn cell(&self, column: usize) -> &'r [u8] {
        self.cells.get(column).map_or(&[], |cell| &self.text[cell.clone()])
    }
}

/// The rows of a text, one after the other.
pub(super) struct Cells<'a> {
    text: &'a [u8],
    how: How<'a>,
    ranges: Vec<Range<usize>>,
    first_line: u64,
}

enum How<'a> {
    Plain { ends_cell: Box<[bool; 256]>, delimiter: u8, at: usize, line: u64 },
    Quoted { reader: Box<csv::Reader<&'a [u8]>>, record: csv::ByteRecord },
}

impl<'a> Cells<'a> {
    /// The rows of a text whose first line is `first_line`.
    pub(super) fn new(text: &'a str, delimiter: u8, first_line: u64) -> Self {
        let quoted = text.as_bytes().contains(&b'"') || text.starts_with('\u{feff}');
        let how = if quoted {
            let reader = Box::new(table::reader(text, delimiter));
            How::Quoted { reader, record: csv::ByteRecord::new() }
        } else {
            let mut ends_cell = Box::new([false; 256]);
            for byte in [delimiter, b'\n', b'\r'] {
                ends_cell[usize::from(byte)] = true;
            }
            How::Plain { ends_cell, delimiter, at: 0, line: 1 }
        };
        Self { text: text.as_bytes(), how, ranges: Vec::new(), first_line }
    }

    /// The next row; `None` at the end.
    pub(super) fn next(&mut self) -> Result<Option<Row<'_>>, ReadError> {
        self.ranges.clear();
        let Self { text, how, ranges, first_line } = self;
        let size = text.len();
        let (text, line, end) = match how {
            How::Plain { ends_cell, delimiter, at, line } => {
                let from = *line;
                *at += blank(&text[*at..], line);
                if *at == size {
                    return Ok(None);
                }
                *at = cut(text, *at, ranges, *delimiter, ends_cell);
                *line += u64::from(text[*at - 1] == b'\n');
                (*text, from, *at)
            }
            How::Quoted { reader, record } => {
                if !table::read_record(reader, record, *first_line)? {
                    return Ok(None);
                }
                ranges.extend((0..record.len()).filter_map(|column| record.range(column)));
                let end = usize::try_from(reader.position().byte()).unwrap_or(size);
                (record.as_slice(), record.position().map_or(0, csv::Position::line), end)
            }
        };
        let line = line + *first_line - 1;
        Ok(Some(Row { line, last: end >= size, text, cells: ranges }))
    }
}

/// The length of the empty lines that a text begins with; counts them.
fn blank(text: &[u8], line: &mut u64) -> usize {
    let ends = text.iter().take_while(|byte| matches!(byte, b'\n' | b'\r'));
    ends.inspect(|byte| *line += u64::from(**byte == b'\n')).count()
}

/// Cuts the row that begins at `from`; gives where the next one does.
fn cut(
    text: &[u8],
    mut from: usize,
    cells: &mut Vec<Range<usize>>,
    delimiter: u8,
    ends_cell: &[bool; 256],
) -> usize {
    loop {
        let rest = &text[from..];
        let end = rest.iter().position(|&byte| ends_cell[usize::from(byte)]);
        let length = end.unwrap_or(rest.len());
        cells.push(from..from + length);
        from += length;
        match text.get(from) {
            Some(&mark) if mark == delimiter => from += 1,
            Some(_) => return from + 1,
            None => return from,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn all(mut rows: Cells<'_>) -> Vec<(u64, bool, Vec<Vec<u8>>)> {
        let mut found = Vec::new();
        while let Some(row) = rows.next().unwrap() {
            let cells = (0..row.len()).map(|column| row.cell(column).to_vec()).collect();
            found.push((row.line, row.last, cells));
        }
        found
    }

    proptest! {
        #[test]
        fn plain_rows_are_those_of_the_csv_reader(text in "[a1; ,\r\n]{0,40}") {
            let mut quoted = Cells::new(&text, b';', 7);
            quoted.how = How::Quoted {
                reader: Box::new(table::reader(&text, b';')),
                record: csv::ByteRecord::new(),
            };
            prop_assert_eq!(all(Cells::new(&text, b';', 7)), all(quoted));
        }
    }
}
