//! Marks of where a thing stands: a shape and a word, never colour alone.

use askama::Template;
use store::reading::standing::Became;
use store::reading::standing::Turn;
use store::words::LoanStatus;
use store::words::MonitorStatus;
use store::words::NightStatus;

/// A shape with its word. In a template: `{{ mark|safe }}`.
#[derive(Clone, Debug, PartialEq, Eq, Template)]
#[template(
    source = r##"<span class="mark {{ weight }}"><svg class="icon" aria-hidden="true"><use href="#i-{{ shape }}"/></svg>{{ word }}</span>"##,
    ext = "html"
)]
pub struct Mark {
    /// Name of the shape in `icons.html`.
    pub shape: &'static str,
    /// The word.
    pub word: String,
    /// `plain`, `due` (somebody must do something) or `quiet` (nothing more to do).
    pub weight: &'static str,
}

impl Mark {
    /// A mark.
    pub fn new(shape: &'static str, word: impl Into<String>, weight: &'static str) -> Self {
        Self { shape, word: word.into(), weight }
    }
}

impl From<Became> for Mark {
    fn from(became: Became) -> Self {
        let (shape, weight) = match became.what {
            Turn::Withdrawn => ("held", "due"),
            Turn::OpenAgain => ("pen", "due"),
            Turn::Replaced => ("repair", "plain"),
            Turn::SignedAnew => ("repair", "due"),
        };
        Self::new(shape, became.what.says(), weight)
    }
}

impl From<MonitorStatus> for Mark {
    fn from(status: MonitorStatus) -> Self {
        let (shape, weight) = match status {
            MonitorStatus::Ready => ("ready", "plain"),
            MonitorStatus::Booked => ("booked", "plain"),
            MonitorStatus::Out => ("out", "plain"),
            MonitorStatus::Back => ("back", "due"),
            MonitorStatus::ToClean => ("clean", "due"),
            MonitorStatus::ToCheck => ("check", "due"),
            MonitorStatus::Held => ("held", "due"),
            MonitorStatus::InRepair => ("repair", "quiet"),
            MonitorStatus::Lost => ("unknown", "due"),
            MonitorStatus::Retired => ("closed", "quiet"),
        };
        Self::new(shape, status.says(), weight)
    }
}

impl From<LoanStatus> for Mark {
    fn from(status: LoanStatus) -> Self {
        let (shape, weight) = match status {
            LoanStatus::Booked => ("booked", "plain"),
            LoanStatus::Out => ("out", "plain"),
            LoanStatus::Back => ("back", "quiet"),
            LoanStatus::Cancelled => ("closed", "quiet"),
            LoanStatus::Lost => ("unknown", "due"),
        };
        Self::new(shape, status.says(), weight)
    }
}

impl From<NightStatus> for Mark {
    fn from(status: NightStatus) -> Self {
        let (shape, weight) = match status {
            NightStatus::Untied => ("unknown", "due"),
            NightStatus::Waiting => ("clock", "due"),
            NightStatus::Reading => ("pen", "plain"),
            NightStatus::Signed => ("ready", "quiet"),
            NightStatus::SetAside => ("closed", "quiet"),
        };
        Self::new(shape, status.says(), weight)
    }
}
