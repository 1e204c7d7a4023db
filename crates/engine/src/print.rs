//! `print`: a report as HTML, SVG, JSON and a table for the terminal. Same report, same bytes, on
//! every machine.

mod escape;
mod heading;
mod html;
pub mod ink;
mod json;
mod report_json;
mod svg;
mod table;

pub use heading::{Heading, Slot, Stamp, sample_heading};
pub use html::html;
pub use json::json;
pub use report_json::{json_report, json_words, report_id};
pub use svg::{Look, SvgShape, svg, svg_shape, svg_with_lanes};
pub use table::table;
