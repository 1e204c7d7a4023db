//! Sizes of paper and of print, and the day a paper is made.

/// Year, month and day, as the department's calendar has them.
pub type Day = (i16, i8, i8);

/// What is printed on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Sheet {
    /// 210 by 297 mm.
    #[default]
    A4,
    /// 8.5 by 11 inches.
    Letter,
}

impl Sheet {
    /// The typesetter's name for it.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::A4 => "a4",
            Self::Letter => "us-letter",
        }
    }
}

/// How large the words are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Print {
    /// 12.5 points.
    #[default]
    Usual,
    /// 16 points and more, for people who read large print; nothing on the paper is smaller.
    Large,
}

impl Print {
    /// The typesetter's size of the running words, in points.
    pub(crate) fn points(self) -> f64 {
        match self {
            Self::Usual => 12.5,
            Self::Large => 16.0,
        }
    }
}
