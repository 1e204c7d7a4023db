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
    /// The number for help on the same day while the desk is closed.
    pub urgent_phone: String,
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
            .with("urgent_phone", &number(&self.urgent_phone))
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

/// How long a heated sensor may stay at one place of the skin.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Worn {
    /// The department's longest time for this sensor, its heat and this skin, minutes.
    pub minutes: u16,
    /// The hour and minute before which it is not put on.
    pub from: (u8, u8),
}

impl Worn {
    /// What it puts into the places of a text: from when, until when at the latest, and how many hours that is. A time
    /// of nothing is no time.
    pub(crate) fn fill(self, filling: Filling) -> Result<Filling, PaperError> {
        let (hour, minute) = self.from;
        let from = u32::from(hour) * 60 + u32::from(minute);
        if self.minutes == 0 || from >= 1_440 {
            return Err(PaperError::refused(
                "longest time at one place: expected the department's own figure, found none",
                "set it for this monitor and its sensor temperature",
            ));
        }
        let clock = |minutes: u32| format!("{:02}:{:02}", minutes / 60 % 24, minutes % 60);
        Ok(filling
            .with("put_on", &clock(from))
            .with("remove_by", &clock(from + u32::from(self.minutes)))
            .with("longest_hours", &hours(self.minutes)))
    }
}

/// Minutes as hours, rounded down to a hundredth: the warning never promises more than was set.
fn hours(minutes: u16) -> String {
    let text = format!("{}.{:02}", minutes / 60, minutes % 60 * 100 / 60);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

impl From<TextError> for PaperError {
    fn from(error: TextError) -> Self {
        Self::Refused { what: error.to_string(), hint: error.hint }
    }
}
