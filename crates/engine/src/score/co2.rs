//! The figures of transcutaneous CO2, in kPa.

use crate::correct::Corrected;
use crate::criteria::Criteria;
use crate::recording::Quantity;
use crate::score::awake::Awake;
use crate::score::figures::{Channel, Outcome, nothing_awake};
use crate::score::rise_trace;
use crate::score::sides::{Sides, Span};
use crate::score::unseen::{Reach, envelope};
use crate::screen::Lag;
use crate::stats::highest_held;
use crate::trace::{Band, Trace};
use crate::unit::above;

/// Seconds a level must hold, by the definition of the sustained level.
const HELD_S: f64 = 600.0;

/// CO2 of the night, corrected where that was possible, ready to be measured.
pub(super) struct Co2 {
    ordered: Sides,
    sustained: Option<Span>,
    /// The rise above awake; `None` without a level awake, or one held in sleep.
    rise: Option<Span>,
    awake: Awake,
    lag: Result<Lag, String>,
    believed_s: f64,
}

impl Channel for Co2 {
    const NAME: &'static str = "CO2";

    fn seconds(&self, id: &str) -> f64 {
        if id.starts_with("tcpco2.awake") { self.awake.believed_s } else { self.believed_s }
    }
}

/// A trace with its unbelieved time filled as CO2 may have run.
fn sides(trace: &Trace, criteria: &Criteria) -> Sides {
    let reach = Reach::co2(criteria, criteria.judge.co2_gap_rate_mmhg_per_min.value);
    Sides::between(trace, envelope(trace, &reach))
}

impl Co2 {
    /// CO2 of a night; `None` when it was not recorded.
    pub(super) fn of(corrected: &Corrected, criteria: &Criteria) -> Option<Self> {
        let mut trace = corrected.trace(Quantity::Tcpco2)?;
        let width = trace.samples_in(HELD_S);
        let sides = |trace: &Trace| sides(trace, criteria);
        let night = sides(&trace);
        let rise = rise_trace(corrected).and_then(|mut risen| {
            let held = sides(&risen).figure(|side| highest_held(side, width))?;
            risen.band.fill(Band::default());
            let awake = Awake::of(&corrected.screened, &mut risen, sides).mean?;
            let lowest = held.lowest - awake.highest;
            Some(Span::of(held.value - awake.value, lowest, held.highest - awake.lowest))
        });
        Some(Self {
            rise,
            sustained: night.figure(|side| highest_held(side, width)),
            ordered: night.ordered(),
            awake: Awake::of(&corrected.screened, &mut trace, sides),
            lag: corrected.screened.co2_lag.clone(),
            believed_s: trace.believed_s(),
        })
    }

    pub(super) fn awake(&self) -> Outcome {
        self.awake.mean.ok_or_else(|| nothing_awake(Self::NAME))
    }

    pub(super) fn mean(&self) -> Outcome {
        Self::or_why(self.ordered.mean())
    }

    pub(super) fn percentile(&self, percent: f64) -> Outcome {
        Self::or_why(self.ordered.percentile(percent))
    }

    pub(super) fn sustained(&self) -> Outcome {
        self.or_needs(self.sustained, "no 10 minutes on end of CO2 may be believed")
    }

    /// The sustained level less the awake level.
    pub(super) fn rise(&self) -> Outcome {
        let (sleep, awake) = (self.sustained()?, self.awake()?);
        self.rise.ok_or_else(|| format!("{} cannot be taken from {}", awake.value, sleep.value))
    }

    /// How far CO2 lies behind SpO2, s; its ends are what the halves of the night tell.
    pub(super) fn lag(&self) -> Outcome {
        let lag = self.lag.clone()?;
        Ok(Span::of(lag.seconds, lag.lowest_s, lag.highest_s))
    }

    /// Share of time above a level, %.
    pub(super) fn time_above(&self, level_kpa: f64) -> Outcome {
        let up_to = |side: &[f64]| side.partition_point(|&x| !above(x, level_kpa, true));
        Self::or_why(self.ordered.share(|side| side.len() - up_to(side)))
    }
}
