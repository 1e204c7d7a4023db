//! What must be known beside the figures of a night: how it found its patient, and what was learnt of its monitor.
//!
//! The engine knows none of it. It stands on the night's page, in the list, and in the heading of the report.

use crate::check::NightCheck;
use crate::check::Speaks;
use crate::db::Conn;
use crate::error::Result;
use crate::tables::Loan;
use crate::tables::Monitor;
use crate::tables::Night;
use crate::tables::Original;
use crate::tie::clock_told;
use crate::when::local_minute;
use crate::whose::monitors_in;

impl Conn {
    /// The reservations of a night, a sentence each without its full stop.
    ///
    /// # Errors
    /// When the database breaks off.
    pub async fn reservations(&mut self, night: &Night) -> Result<Vec<String>> {
        let mut all = Vec::new();
        if let Some(tie) = self.tied_by_hand(night).await? {
            all.push(format!("this night was {}", self.hand_tie_says(&tie).await?));
        }
        let desk = self.desk_settings().await?;
        if let Some(loan) = night.loan {
            let loan: Loan = self.get(loan).await?;
            all.extend(clock_told(&loan, desk.clock_limit_s));
        }
        let zone = desk.zone();
        let at = |at| local_minute(at, &zone);
        all.extend(self.checks_of(night).await?.iter().filter_map(|one| check_says(one, &at)));
        if let Some((entry, answers)) = self.late_diary(night).await? {
            all.push(format!(
                "a diary for this night was entered at {}, after it was judged, and is not taken up: {answers}",
                at(entry.at)
            ));
        }
        Ok(all)
    }

    /// The monitor of a night as its file names it, and as its loan has it where they differ or the file is silent.
    ///
    /// # Errors
    /// When the database breaks off.
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
