//! How long an answer takes, and where the time goes.

use std::collections::BTreeMap;

use engine::stats::percentile;

use super::Period;
use crate::error::Result;
use crate::record::db::Conn;
use crate::when;
use crate::words::StudyStatus;
use crate::words::Urgency;

/// One leg of the way from a referral to its answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Leg {
    /// From the day the referral came to the day its first loan was booked.
    Booked,
    /// From the booking of a loan to its hand-out.
    Out,
    /// From the hand-out to the return.
    Back,
    /// From the return until its night was in the record.
    TakenOff,
    /// From then to the technical sign-off.
    Signed,
    /// From the sign-off to the interpretation.
    Interpreted,
    /// From the day the referral came to the day of its first interpretation.
    Whole,
}

impl Leg {
    /// Every leg, in the order of the way.
    pub const ALL: [Self; 7] = [
        Self::Booked,
        Self::Out,
        Self::Back,
        Self::TakenOff,
        Self::Signed,
        Self::Interpreted,
        Self::Whole,
    ];

    /// What it is, in words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Booked => "referral to booking",
            Self::Out => "booking to hand-out",
            Self::Back => "hand-out to return",
            Self::TakenOff => "return to night taken off",
            Self::Signed => "taken off to signed",
            Self::Interpreted => "signed to interpreted",
            Self::Whole => "referral to interpretation",
        }
    }
}

/// The times of one leg, of one urgency or of all.
#[derive(Clone, Debug, PartialEq)]
pub struct Times {
    /// The leg.
    pub leg: Leg,
    /// The urgency; `None` is all together.
    pub urgency: Option<Urgency>,
    /// Times of those that ended in the period, h, ascending.
    pub ended_h: Vec<f64>,
    /// Times so far of those still open at its end, h, ascending.
    pub open_h: Vec<f64>,
}

impl Times {
    /// A percentile of those that ended, h; `None` when none did.
    pub fn percentile_h(&self, percent: f64) -> Option<f64> {
        percentile(&self.ended_h, percent)
    }

    /// The longest of those that ended, h.
    pub fn longest_h(&self) -> Option<f64> {
        self.ended_h.last().copied()
    }

    /// The longest of those still open, h so far.
    pub fn longest_open_h(&self) -> Option<f64> {
        self.open_h.last().copied()
    }
}

/// The legs in a period.
#[derive(Clone, Debug, PartialEq)]
pub struct Turnaround {
    /// Each leg, of all and then of each urgency that occurs.
    pub times: Vec<Times>,
    /// Loans of the period whose monitor came back without a night, or not at all: their way ended there.
    pub without_night: usize,
    /// Times that run backwards, for instance a referral dated after its booking; they are in no figure.
    pub backwards: usize,
}

impl Turnaround {
    /// The times of a leg, all urgencies together.
    pub fn all(&self, leg: Leg) -> Option<&Times> {
        self.times.iter().find(|times| times.leg == leg && times.urgency.is_none())
    }
}

/// One leg of one loan or referral.
struct Gone {
    leg: Leg,
    urgency: Urgency,
    /// When it ended, if it has by the period's end.
    ended_at: Option<i64>,
    /// How long it took, or has taken by the period's end, s.
    took_s: i64,
    /// Whether it may still end.
    may_end: bool,
}

#[derive(sqlx::FromRow)]
struct StudyRow {
    id: i64,
    status: StudyStatus,
    received_on: String,
    urgency: Urgency,
    voided_at: Option<i64>,
}

#[derive(sqlx::FromRow)]
struct LoanRow {
    id: i64,
    study: i64,
    booked_at: i64,
    out_at: Option<i64>,
    back_at: Option<i64>,
}

/// What came of a loan: the first of its nights taken off, signed and interpreted, and when its monitor went
/// on to cleaning or was given up.
#[derive(Clone, Copy, Default)]
#[expect(clippy::struct_field_names, reason = "every instant of the record is named so")]
struct After {
    off_at: Option<i64>,
    signed_at: Option<i64>,
    interpreted_at: Option<i64>,
    over_at: Option<i64>,
}

const STUDIES: &str = "SELECT study.id, study.status, referral.received_on, referral.urgency, referral.voided_at FROM study JOIN referral ON referral.id = study.referral ORDER BY study.id";
const LOANS: &str = "SELECT id, study, booked_at, out_at, back_at FROM loan WHERE booked_at < $1 AND status <> 'cancelled' ORDER BY id";
// Each read once for all loans: asked loan by loan, twenty thousand of them take minutes.
const OFF: &str = "SELECT night.loan, MIN(original.received_at) FROM night JOIN original ON original.id = night.original WHERE night.loan IS NOT NULL AND night.status <> 'set_aside' GROUP BY night.loan";
const SIGNED: &str = "SELECT night.loan, MIN(report.signed_at), MIN(report.interpreted_at) FROM report JOIN night ON night.id = report.night WHERE night.loan IS NOT NULL AND night.status <> 'set_aside' GROUP BY night.loan";
const OVER: &str = "SELECT loan, MIN(at) FROM movement WHERE loan IS NOT NULL AND after IN ('to_clean', 'lost') GROUP BY loan";

impl Conn {
    /// How long each leg took of those that ended in the period, and which were open at its end.
    pub async fn turnaround(&mut self, period: &Period) -> Result<Turnaround> {
        let studies: Vec<StudyRow> = self.rows(STUDIES, &[]).await?;
        let after = self.after().await?;
        let mut loans: BTreeMap<i64, Vec<(LoanRow, After)>> = BTreeMap::new();
        for loan in self.rows::<LoanRow>(LOANS, &[period.end_at.into()]).await? {
            let came = after.get(&loan.id).copied().unwrap_or_default();
            loans.entry(loan.study).or_default().push((loan, came));
        }
        let (mut gone, mut without_night) = (Vec::new(), 0);
        for study in &studies {
            let own = loans.remove(&study.id).unwrap_or_default();
            whole(&mut gone, study, &own, period);
            for (loan, came) in &own {
                legs(&mut gone, study, loan, came, period);
                without_night +=
                    usize::from(came.without_night().is_some_and(|at| period.holds(at)));
            }
        }
        let backwards = gone.iter().filter(|leg| leg.backwards(period)).count();
        gone.retain(|leg| !leg.backwards(period));
        Ok(Turnaround { times: sorted(&gone, period), without_night, backwards })
    }

    /// What came of each loan, by its row.
    async fn after(&mut self) -> Result<BTreeMap<i64, After>> {
        let mut after: BTreeMap<i64, After> = BTreeMap::new();
        for (loan, off_at) in self.rows::<(i64, Option<i64>)>(OFF, &[]).await? {
            after.entry(loan).or_default().off_at = off_at;
        }
        for (loan, signed_at, interpreted_at) in
            self.rows::<(i64, Option<i64>, Option<i64>)>(SIGNED, &[]).await?
        {
            let after = after.entry(loan).or_default();
            (after.signed_at, after.interpreted_at) = (signed_at, interpreted_at);
        }
        for (loan, over_at) in self.rows::<(i64, Option<i64>)>(OVER, &[]).await? {
            after.entry(loan).or_default().over_at = over_at;
        }
        Ok(after)
    }
}

impl After {
    /// When the loan ended without a night: its monitor went on to cleaning, or was given up.
    fn without_night(&self) -> Option<i64> {
        self.over_at.filter(|_| self.off_at.is_none())
    }
}

impl StudyRow {
    fn may_end(&self) -> bool {
        self.status != StudyStatus::Closed && self.voided_at.is_none()
    }
}

impl Gone {
    fn backwards(&self, period: &Period) -> bool {
        self.took_s < 0 && self.ended_at.is_some_and(|at| period.holds(at))
    }

    /// How long it took, h, when it ended in the period.
    fn ended_h(&self, period: &Period) -> Option<f64> {
        self.ended_at.filter(|at| period.holds(*at)).map(|_| self.took_s as f64 / 3600.0)
    }

    /// How long it had been open at the period's end, h; `None` when it was not.
    fn open_h(&self) -> Option<f64> {
        (self.ended_at.is_none() && self.may_end).then(|| self.took_s.max(0) as f64 / 3600.0)
    }
}

/// The legs that are a referral's. A referral has a day and no hour, so they are counted in whole days.
fn whole(gone: &mut Vec<Gone>, study: &StudyRow, loans: &[(LoanRow, After)], period: &Period) {
    let Some(received) = when::date(&study.received_on) else { return };
    let midnight = jiff::civil::time(0, 0, 0, 0);
    if when::local_instant(received, midnight, &period.zone) >= period.end_at {
        return;
    }
    let booked_at = loans.iter().map(|(loan, _)| loan.booked_at).min();
    let interpreted_at = loans.iter().filter_map(|(_, came)| came.interpreted_at).min();
    for (leg, ended_at) in [(Leg::Booked, booked_at), (Leg::Whole, interpreted_at)] {
        let ended_at = period.by_its_end(ended_at);
        let last = when::local_date(ended_at.unwrap_or(period.end_at - 1), &period.zone);
        let took_s = i64::from((last - received).get_days()) * 86_400;
        let may_end = study.may_end();
        gone.push(Gone { leg, urgency: study.urgency, ended_at, took_s, may_end });
    }
}

fn legs(gone: &mut Vec<Gone>, study: &StudyRow, loan: &LoanRow, came: &After, period: &Period) {
    let open = study.may_end();
    let lent = period.by_its_end(came.without_night()).is_none();
    let ways = [
        (Leg::Out, Some(loan.booked_at), loan.out_at, true),
        (Leg::Back, loan.out_at, loan.back_at, lent),
        (Leg::TakenOff, loan.back_at, came.off_at, lent),
        (Leg::Signed, came.off_at, came.signed_at, open),
        (Leg::Interpreted, came.signed_at, came.interpreted_at, open),
    ];
    for (leg, begun_at, ended_at, may_end) in ways {
        if let Some(begun_at) = period.by_its_end(begun_at) {
            let ended_at = period.by_its_end(ended_at);
            let took_s = ended_at.unwrap_or(period.end_at) - begun_at;
            gone.push(Gone { leg, urgency: study.urgency, ended_at, took_s, may_end });
        }
    }
}

fn sorted(gone: &[Gone], period: &Period) -> Vec<Times> {
    let mut all = Vec::new();
    for leg in Leg::ALL {
        let ways = std::iter::once(None).chain(Urgency::ALL.iter().copied().map(Some));
        for urgency in ways {
            let own = || {
                gone.iter().filter(move |one| {
                    one.leg == leg && urgency.is_none_or(|urgency| one.urgency == urgency)
                })
            };
            let mut times = Times {
                leg,
                urgency,
                ended_h: own().filter_map(|one| one.ended_h(period)).collect(),
                open_h: own().filter_map(Gone::open_h).collect(),
            };
            times.ended_h.sort_unstable_by(f64::total_cmp);
            times.open_h.sort_unstable_by(f64::total_cmp);
            if urgency.is_none() || times.ended_h.len() + times.open_h.len() > 0 {
                all.push(times);
            }
        }
    }
    all
}
