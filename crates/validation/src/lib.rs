//! Published tables and worked examples run through the engine.
//!
//! One file under `cases` for each publication, the publication's number beside the engine's. The
//! program writes `docs/validation.md` from them; `./check` fails when the committed file differs.
//!
//! What this crate does not do: it tunes nothing and holds no threshold of its own. A limit of error is
//! part of the case, with its reason, and is never widened to make a case pass.

pub mod cases;
pub mod document;
pub mod made;
pub mod study;

/// A publication's numbers or answers beside the engine's.
#[derive(Clone, Debug, PartialEq)]
pub struct Suite {
    /// What is compared, as a heading.
    pub title: &'static str,
    /// Key of `docs/sources.md`.
    pub source: &'static str,
    /// Where in the publication the numbers stand, and how they were made when it prints none.
    pub place: &'static str,
    /// What was compared.
    pub outcome: Outcome,
}

/// Numbers with limits, or answers that must be equal.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// Numbers.
    Figures {
        /// Each number.
        rows: Vec<Figure>,
        /// Digits printed after the point.
        digits: usize,
        /// How far off the engine may be.
        limits: Limits,
    },
    /// Answers in words.
    Answers(Vec<Answer>),
}

/// One number.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// What it is, with its unit.
    pub what: String,
    /// What the publication says.
    pub expected: f64,
    /// What the engine says.
    pub found: f64,
}

impl Figure {
    /// A number of a publication beside the engine's.
    pub fn new(what: impl Into<String>, expected: f64, found: f64) -> Self {
        Self { what: what.into(), expected, found }
    }

    /// How far the engine is off, without sign; infinite when either is no number.
    pub fn error(&self) -> f64 {
        let error = (self.found - self.expected).abs();
        if error.is_nan() { f64::INFINITY } else { error }
    }
}

/// One answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// The made night or the question.
    pub what: String,
    /// What the publication says.
    pub expected: String,
    /// What the engine says.
    pub found: String,
}

/// The largest errors allowed, in the figures' unit: three quantiles, so that one loose number does not
/// hide a shift of them all.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Three quarters of the errors lie within.
    pub q75: f64,
    /// 99 in 100 lie within.
    pub q99: f64,
    /// All lie within.
    pub max: f64,
    /// Why these.
    pub because: &'static str,
}

impl Limits {
    /// One limit for all: the publication's own last digit.
    pub const fn last_digit(max: f64) -> Self {
        Self { q75: max, q99: max, max, because: "half of the last digit printed" }
    }
}

/// The errors found, in the order of [`Limits`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Errors {
    /// Three quarters of the errors lie within.
    pub q75: f64,
    /// 99 in 100 lie within.
    pub q99: f64,
    /// All lie within.
    pub max: f64,
}

impl Errors {
    /// The errors of these figures; infinite when there are none, so that an empty suite fails.
    pub fn of(rows: &[Figure]) -> Self {
        let mut errors: Vec<f64> = rows.iter().map(Figure::error).collect();
        errors.sort_by(f64::total_cmp);
        // The smallest error that at least `percent` of all errors do not exceed.
        let quantile = |percent: usize| {
            let place = (errors.len() * percent).div_ceil(100).max(1) - 1;
            errors.get(place).copied().unwrap_or(f64::INFINITY)
        };
        Self { q75: quantile(75), q99: quantile(99), max: quantile(100) }
    }

    /// Whether they keep within the limits.
    pub fn within(&self, limits: &Limits) -> bool {
        self.q75 <= limits.q75 && self.q99 <= limits.q99 && self.max <= limits.max
    }
}

impl Suite {
    /// How many numbers or answers it compares.
    pub fn count(&self) -> usize {
        match &self.outcome {
            Outcome::Figures { rows, .. } => rows.len(),
            Outcome::Answers(answers) => answers.len(),
        }
    }

    /// What is wrong with it, in words; empty when all is within the limits. A suite that compared
    /// nothing is wrong.
    pub fn faults(&self) -> Vec<String> {
        if self.count() == 0 {
            return vec![format!("{}: nothing was compared", self.title)];
        }
        match &self.outcome {
            Outcome::Figures { rows, limits, .. } => {
                let errors = Errors::of(rows);
                if errors.within(limits) {
                    return Vec::new();
                }
                let worst = rows.iter().max_by(|a, b| a.error().total_cmp(&b.error()));
                let worst = worst.map_or_else(String::new, |row| {
                    format!(
                        "; worst is {}: expected {}, found {}",
                        row.what, row.expected, row.found
                    )
                });
                vec![format!("{}: errors {errors:?} exceed {limits:?}{worst}", self.title)]
            }
            Outcome::Answers(answers) => answers
                .iter()
                .filter(|answer| answer.expected != answer.found)
                .map(|answer| {
                    let Answer { what, expected, found } = answer;
                    format!("{}: {what}: expected {expected}, found {found}", self.title)
                })
                .collect(),
        }
    }
}
