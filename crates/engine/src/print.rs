//! `print`: a report as HTML, SVG and JSON. Same report, same bytes, on every machine.
