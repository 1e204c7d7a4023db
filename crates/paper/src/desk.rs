//! The department that lends: what stands on its papers.

use crate::error::PaperError;
use crate::text::Filling;
use crate::text::TextError;

/// The department that lends, as its papers name it. An empty text is not printed; a text of the
/// department's that asks for one is refused.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Desk {
    /// The department.
    pub department: String,
    /// The hospital.
    pub hospital: String,
    /// Where it is, one line each.
    pub address: Vec<String>,
    /// The number that patients ring.
    pub phone: String,
    /// When somebody answers it, in words that fit after "we answer".
    pub phone_hours: String,
    /// The number for help at once.
    pub emergency_phone: String,
    /// Where a monitor is brought back, each place with its times.
    pub return_places: Vec<String>,
}

impl Desk {
    /// What this department puts into the places of its texts.
    pub(crate) fn filling(&self) -> Filling {
        Filling::default()
            .with("department", &self.department)
            .with("hospital", &self.hospital)
            .with("phone", &number(&self.phone))
            .with("phone_hours", &self.phone_hours)
            .with("emergency_phone", &number(&self.emergency_phone))
            .with_lines("return_places", &self.return_places)
    }

    /// The top of a paper: department, hospital, address.
    pub(crate) fn head(&self) -> Vec<String> {
        [&self.department, &self.hospital]
            .into_iter()
            .chain(&self.address)
            .filter(|line| !line.is_empty())
            .cloned()
            .collect()
    }
}

/// A number to ring stands on one line, or it is misread.
fn number(phone: &str) -> String {
    phone.trim().replace(' ', "\u{a0}")
}

/// The longest time at one place of the skin, as words; zero hours are no time.
pub(crate) fn hours(longest_hours: u8) -> Result<String, PaperError> {
    if longest_hours == 0 {
        return Err(PaperError::refused(
            "longest time at one place: expected the department's own figure in hours, found 0",
            "set it for this monitor and its sensor temperature",
        ));
    }
    Ok(longest_hours.to_string())
}

impl From<TextError> for PaperError {
    fn from(error: TextError) -> Self {
        Self::Refused { what: error.to_string(), hint: error.hint }
    }
}
