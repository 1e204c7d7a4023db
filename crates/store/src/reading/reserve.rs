//! What must be known beside the figures of a night: how it found its patient, and what was learnt of its monitor.
//!
//! The engine knows none of it. It stands on the night's page, in the list, and in the heading of the report.

use crate::error::Result;
use crate::intake::check::NightCheck;
use crate::intake::check::Speaks;
use crate::intake::owner::monitors_in;
use crate::intake::settle::hand_tie;
use crate::intake::tie::clock_told;
use crate::lending::diary::lights_wrong;
use crate::people::person::DESTROYED;
use crate::reading::beside::Beside;
use crate::reading::late::Late;
use crate::record::db::Conn;
use crate::record::tables::Loan;
use crate::record::tables::Monitor;
use crate::record::tables::Night;
use crate::record::tables::Original;
use crate::record::tables::Person;
use crate::when::local_minute;

impl Beside {
    /// The reservations of a night, a sentence each without its full stop.
    pub fn reservations(&self, night: &Night) -> Vec<String> {
        let mut all = Vec::new();
        let voided = self.person_of(night).and_then(|person| person.voided_because.as_deref());
        if let Some(because) = voided.filter(|because| *because != DESTROYED) {
            all.push(format!(
                "the row of this patient was voided, so this night cannot be signed: {because}"
            ));
        }
        let at = self.minute();
        all.extend(self.doubles_of(night).into_iter().map(|other| {
            format!(
                "night {} of the same loan lies at the same time, from {}: one of the two is to be untied, and can then take the place of the other or be set aside",
                other.id,
                at(other.start_at)
            )
        }));
        if let Some(tie) = self.tied_by_hand(night) {
            all.push(format!("this night was {}", hand_tie(tie, |login| self.name_of(login))));
        }
        all.extend(self.loan_of(night).and_then(|loan| clock_told(loan, self.desk.clock_limit_s)));
        all.extend(self.checks_of(night).iter().filter_map(|one| check_says(one, &at)));
        all.extend(self.late_by(night, i64::MAX).map(|late| diary_says(&late, &at)));
        all
    }

    /// What was learnt of a signed night after the last paper of it was signed, and stands on none: a check of its
    /// monitor that did not pass, one that was voided though its notes or its paper tell of it, a diary or a diary's
    /// correction. It waits for the reader until a version is signed that tells it, or the report is withdrawn.
    pub fn learnt(&self, night: &Night) -> Vec<String> {
        let Some((signed, signed_at)) = self.signed_by_act(night) else { return Vec::new() };
        let at = self.minute();
        let turns = |one: &&NightCheck| one.check.act > signed;
        let checks = self.checks_of(night);
        let checks = checks.iter().filter(turns).filter_map(|one| match one.speaks {
            Speaks::Failed => check_says(one, &at),
            Speaks::Voided if one.taken => check_says(one, &at),
            Speaks::Voided if one.check.at <= signed_at => voided_says(one, &at),
            Speaks::Voided | Speaks::Anchor | Speaks::Serviced | Speaks::Nothing => None,
        });
        let diary = match (self.late_diary(night), self.late_by(night, signed)) {
            (Some(late), _) => (late.entry.act > signed).then(|| diary_says(&late, &at)),
            (None, Some(told)) if told.left_out.is_none() => Some(corrected_says(&told)),
            _ => None,
        };
        checks.chain(diary).collect()
    }

    fn minute(&self) -> impl Fn(i64) -> String + use<> {
        let zone = self.desk.zone();
        move |at| local_minute(at, &zone)
    }
}

/// A signed night of which something was learnt since.
#[derive(Clone, Debug)]
pub struct Learnt {
    /// The night.
    pub night: Night,
    /// Whose it is.
    pub person: Person,
    /// What was learnt, a sentence each without its full stop.
    pub says: Vec<String>,
}

/// Signed nights whose loan has a check that did not pass or was voided, or a diary, later than a report of them.
const LATER: &str = "WHERE status = 'signed' AND loan IN (SELECT c.loan FROM monitor_check c WHERE (NOT c.passed OR c.voided_at IS NOT NULL) AND c.act > (SELECT MIN(r.act) FROM report r JOIN night n ON n.id = r.night WHERE n.loan = c.loan) UNION SELECT d.loan FROM diary_entry d WHERE d.act > (SELECT MIN(r.act) FROM report r JOIN night n ON n.id = r.night WHERE n.loan = d.loan)) ORDER BY start_at, id";

impl Conn {
    /// The reservations of a night, a sentence each without its full stop.
    pub async fn reservations(&mut self, night: &Night) -> Result<Vec<String>> {
        Ok(self.beside(std::slice::from_ref(night)).await?.reservations(night))
    }

    /// Every signed night of which something was learnt since, the oldest first.
    pub async fn learnt(&mut self) -> Result<Vec<Learnt>> {
        let nights: Vec<Night> = self.find(LATER, &[]).await?;
        let beside = self.beside(&nights).await?;
        let people: Vec<i64> = nights.iter().filter_map(|night| night.person).collect();
        let people: Vec<Person> = self.find_among("id", &people).await?;
        let one = |night: Night| {
            let says = beside.learnt(&night);
            let person = people.iter().find(|one| Some(one.id) == night.person)?.clone();
            (!says.is_empty()).then_some(Learnt { night, person, says })
        };
        Ok(nights.into_iter().filter_map(one).collect())
    }

    /// The monitor of a night as its file names it, and as its loan has it where they differ or the file is silent.
    pub async fn monitor_says(&mut self, night: &Night) -> Result<String> {
        let original: Original = self.get(night.original).await?;
        let monitors: Vec<Monitor> = self.find("ORDER BY id", &[]).await?;
        let places = [original.serial.as_deref().unwrap_or_default(), &original.name];
        let mut named: Vec<&Monitor> =
            places.iter().flat_map(|text| monitors_in(text, &monitors)).collect();
        named.dedup_by_key(|one| one.id);
        let lent = match night.loan {
            Some(loan) => Some(self.get::<Loan>(loan).await?.monitor),
            None => None,
        };
        let lent = lent.and_then(|id| monitors.iter().find(|one| one.id == id));
        let marks: Vec<&str> = named.iter().map(|one| one.mark.as_str()).collect();
        Ok(match (marks.as_slice(), lent) {
            ([], Some(lent)) => format!("{} by the loan; the file names none", lent.mark),
            ([], None) => "not named in the file".to_owned(),
            ([one], Some(lent)) if *one == lent.mark => lent.mark.clone(),
            (all, Some(lent)) => {
                format!("{} by the file; the loan had {}", all.join(", "), lent.mark)
            }
            (all, None) => all.join(", "),
        })
    }
}

fn diary_says(late: &Late, at: &impl Fn(i64) -> String) -> String {
    let (when, answers) = (at(late.entry.at), late.says());
    if let Some(wrong) = lights_wrong(&late.entry) {
        return format!(
            "a diary for this night was entered at {when}, but its times contradict each other: {wrong}; correct it. It says: {answers}"
        );
    }
    match &late.left_out {
        Some(reason) => format!(
            "a diary for this night was entered at {when}, after it was judged, and was left out ({reason}): {answers}"
        ),
        None => format!(
            "a diary for this night was entered at {when}, after it was judged, and is not taken up: {answers}"
        ),
    }
}

/// A diary that the signed paper tells, and that was corrected to what the night was judged with.
fn corrected_says(told: &Late) -> String {
    format!(
        "the diary that the signed report tells as not taken up was corrected since, and nothing of it differs any more from what the night was judged with; it told: {}",
        told.says()
    )
}

/// A check that a paper tells, and that was voided after that was signed.
fn voided_says(one: &NightCheck, at: &impl Fn(i64) -> String) -> Option<String> {
    let told = NightCheck { speaks: one.unvoided, ..one.clone() };
    check_says(&told, at)?;
    let what = match told.speaks {
        Speaks::Failed => ", of which the signed report says that it did not pass,",
        _ => " that the signed report tells of",
    };
    Some(format!(
        "a gas check of this monitor on {}{what} was voided since: {}",
        at(one.check.at),
        one.check.voided_because.as_deref().unwrap_or_default()
    ))
}

fn check_says(one: &NightCheck, at: &impl Fn(i64) -> String) -> Option<String> {
    let check = &one.check;
    let figures = match (check.expected_kpa, check.observed_kpa) {
        (Some(expected), Some(observed)) => {
            format!("the gas should give {expected:.2} kPa, it showed {observed:.2} kPa")
        }
        _ => "it holds no gas".to_owned(),
    };
    let when = at(check.at);
    match one.speaks {
        Speaks::Failed => {
            let off =
                check.observed_kpa.zip(check.expected_kpa).map_or(0.0, |(b, a)| (b - a).abs());
            Some(format!(
                "a gas check of this monitor on {when} did not pass: {figures}. No CO2 was corrected by it, and the CO2 of this night may be off by as much as {off:.2} kPa"
            ))
        }
        Speaks::Anchor if one.is_pending() => Some(format!(
            "a gas check of this monitor on {when} came after this night was scored: {figures}. It is not taken up"
        )),
        Speaks::Voided if one.taken => Some(format!(
            "a gas check of {when} that stands in the notes of this night was voided: {}",
            check.voided_because.as_deref().unwrap_or_default()
        )),
        Speaks::Nothing if check.expected_kpa.is_some() => Some(format!(
            "a gas check of this monitor on {when} cannot be as it was typed: {figures}. It was not used"
        )),
        Speaks::Serviced if one.taken => Some(format!(
            "a gas check of {when} stands in the notes of this night, but the sensor was changed or worked on in between"
        )),
        Speaks::Anchor | Speaks::Voided | Speaks::Nothing | Speaks::Serviced => None,
    }
}
