//! The kinds of nights of the demo's past.

use engine::recording::Recording;
use store::when;

/// A sample of a kept night each so many seconds.
const EVERY_S: f64 = 10.0;
/// The date of the simulator's nights, which becomes the loan's own.
pub(crate) const MADE_ON: [&str; 2] = ["2026-01-13", "2026-01-14"];

/// What comes off a monitor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Kind {
    Slept(&'static str),
    /// Slept, and said that it was not a usual night.
    Unusual,
    /// Slept, and the gas checks lie far apart.
    Drifted,
    /// Nothing was recorded but the start.
    Blank,
    /// It was not switched on.
    Nothing,
}

impl Kind {
    /// What comes of the n-th loan.
    pub(crate) fn of(n: usize) -> Self {
        match n {
            _ if n % 17 == 3 => Self::Nothing,
            _ if n % 23 == 5 => Self::Slept("restless"),
            _ if n % 19 == 7 => Self::Unusual,
            _ if n % 31 == 11 => Self::Drifted,
            _ if n % 41 == 13 => Self::Blank,
            _ => Self::Slept(
                ["steady", "high_all_night", "deep_sawtooth", "oxygen_started", "slipping"][n % 5],
            ),
        }
    }

    fn sleeper(self) -> &'static str {
        if let Self::Slept(name) = self { name } else { "steady" }
    }

    /// Whether it must be repeated.
    pub(crate) fn failed(self) -> bool {
        !matches!(self, Self::Slept(name) if name != "restless")
    }

    /// The night as text, its date the simulator's.
    pub(crate) fn text(self) -> Option<Text> {
        let named = simulate::sleeper_named(self.sleeper())?;
        let mut sleeper = named.sleeper.clone();
        sleeper.start = when::date(MADE_ON[0])?.to_datetime(sleeper.start.time());
        // Each kind its own night: the same bytes twice would be kept once.
        let seed = match self {
            Self::Slept(_) | Self::Nothing => 17,
            Self::Unusual => 18,
            Self::Drifted => 19,
            Self::Blank => 20,
        };
        let made = simulate::night(&sleeper, &named.sensor, seed);
        let mut recording = thinned(made.recording);
        let mut notes = made.notes_toml;
        match self {
            Self::Unusual => {
                notes = notes.replace("representative = true", "representative = false");
            }
            Self::Drifted => notes = notes.replacen("observed_kpa = 7.0", "observed_kpa = 5.6", 1),
            Self::Blank => {
                for channel in &mut recording.channels {
                    let start = channel.samples.iter().copied().take(30);
                    let gone = channel.samples.iter().skip(30).map(|_| f64::NAN);
                    channel.samples = start.chain(gone).collect();
                }
            }
            Self::Slept(_) | Self::Nothing => {}
        }
        Some((simulate::write::text(&recording), notes))
    }
}

/// A night as text with the simulator's date in it: the file and the notes.
pub(crate) type Text = (String, String);

/// The same night with a sample each ten seconds.
fn thinned(mut recording: Recording) -> Recording {
    for channel in &mut recording.channels {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a simulated channel has a sample each second or two"
        )]
        let step = (EVERY_S / channel.period_s).round().max(1.0) as usize;
        channel.samples = channel.samples.iter().copied().step_by(step).collect();
        channel.period_s *= step as f64;
    }
    recording
}
