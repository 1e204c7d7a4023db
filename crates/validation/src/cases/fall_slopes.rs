//! True slopes are kept, impossible ones are not.

use engine::screen::Reason;

use crate::made::{Curve, Night, every_rule};
use crate::{Answer, Outcome, Suite};

/// Whether screening calls anything in this night a step.
fn steps(curve: Curve) -> String {
    let found = every_rule("").ok().map(|criteria| {
        let scores = Night::of_spo2(curve).judge(&criteria).scores;
        let spans = scores.corrected.screened.channels.into_iter().flat_map(|c| c.spans);
        spans.into_iter().any(|span| span.reason == Reason::Step)
    });
    match found {
        Some(true) => "called a step".into(),
        Some(false) => "kept".into(),
        None => "no criteria".into(),
    }
}

/// The mean slopes of two series of patients, and a jump no blood can make.
pub(super) fn suite() -> Suite {
    let fall = Curve::awake(97.0).rest(96.0, 1800).ramp(90.8, 20).ramp(96.3, 12).until(96.0, 7200);
    let recovery = Curve::awake(97.0).rest(96.0, 1800).ramp(88.0, 30).ramp(96.26, 14);
    let jump = Curve::awake(97.0).rest(96.0, 1800).hold(60.0, 5).until(96.0, 7200);
    let answer = |what: &str, expected: &str, curve| Answer {
        what: what.into(),
        expected: expected.into(),
        found: steps(curve),
    };
    Suite {
        title: "Slopes of saturation",
        source: "fall-slopes-abstract",
        place: "its mean slopes, and the faster recovery of resaturation-abstract",
        outcome: Outcome::Answers(vec![
            answer("a fall at 0.26 %/s for 20 s, recovery at 0.46 %/s", "kept", fall),
            answer("a recovery at 0.59 %/s for 14 s", "kept", recovery.until(96.0, 7200)),
            answer("96 to 60 % in one second", "called a step", jump),
        ]),
    }
}
