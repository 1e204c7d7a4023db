//! How long a person's data are kept, who is due for review, and holds that stop destruction.
//!
//! Nothing is destroyed by the passing of time: a list says who is due, governance reviews each, and
//! [destroying](crate::retention::destroy) is an act with a name and a reason.

use jiff::civil::Date;
use serde::Deserialize;
use serde::Serialize;

use crate::error::Result;
use crate::error::StoreError;
use crate::people::person::reason_given;
use crate::record::act::Author;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::tables::Person;
use crate::record::tables::Setting;
use crate::when::date;
use crate::when::local_date;
use crate::words::Role;

/// Name of the retention settings among the settings.
pub const RETENTION: &str = "retention";

/// How long data are kept. The figures are from memory: read the schedule in force before they are used.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct RetentionSettings {
    /// Years after the last entry, for a person who was 18 or older then. From memory.
    pub adult_years: i16,
    /// The birthday until which a child's data are kept. From memory.
    pub child_until_age: i16,
    /// The birthday for somebody who was 17 at the last entry. From memory.
    pub child_until_age_if_17: i16,
}

impl Default for RetentionSettings {
    fn default() -> Self {
        Self { adult_years: 8, child_until_age: 25, child_until_age_if_17: 26 }
    }
}

impl RetentionSettings {
    /// Settings as a person wrote them.
    ///
    /// # Errors
    /// An unknown key, or a figure out of its range.
    pub fn read(text: &str) -> Result<Self> {
        let wrong = |says: String| {
            StoreError::refused("setting_wrong", says, "correct it by the schedule in force")
        };
        let read: Self = serde_json::from_str(text)
            .map_err(|error| wrong(format!("the retention settings cannot be read: {error}")))?;
        let ranges = [
            ("adult_years", (1..=120).contains(&read.adult_years)),
            ("child_until_age", (18..=120).contains(&read.child_until_age)),
            ("child_until_age_if_17", (18..=120).contains(&read.child_until_age_if_17)),
        ];
        match ranges.iter().find(|(_, right)| !right) {
            Some((name, _)) => Err(wrong(format!("{name} is out of its range"))),
            None => Ok(read),
        }
    }

    /// The day from which a person's data may be destroyed, and the rule it comes from. `None` when a date is out of the calendar.
    pub fn due_on(&self, born_on: Date, last_on: Date) -> Option<(Date, String)> {
        let birthday = |age: i16| born_on.checked_add(jiff::Span::new().years(age)).ok();
        if last_on >= birthday(18)? {
            let due_on = last_on.checked_add(jiff::Span::new().years(self.adult_years)).ok()?;
            return Some((due_on, format!("{} years after the last entry", self.adult_years)));
        }
        let age = if last_on >= birthday(17)? {
            self.child_until_age_if_17
        } else {
            self.child_until_age
        };
        Some((birthday(age)?, format!("the {age}th birthday")))
    }
}

/// A person whose data are due for review.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Due {
    /// The person's number.
    pub person: i64,
    /// Day of the last entry; looking is none.
    pub last_on: String,
    /// Day from which their data may be destroyed.
    pub due_on: String,
    /// The rule it comes from.
    pub rule: String,
    /// Why they are held, if they are.
    pub held: Option<String>,
}

impl Conn {
    /// How long data are kept.
    ///
    /// # Errors
    /// When the database breaks off, or what is kept cannot be read.
    pub async fn retention(&mut self) -> Result<RetentionSettings> {
        match self.setting(RETENTION).await? {
            None => Ok(RetentionSettings::default()),
            Some(kept) => RetentionSettings::read(&kept.value),
        }
    }

    /// Why a person's data are held, if they are.
    pub async fn hold_of(&mut self, person: i64) -> Result<Option<String>> {
        let kept = self.setting(&format!("hold:{person}")).await?;
        Ok(kept.map(|kept| kept.value).filter(|reason| !reason.is_empty()))
    }

    /// The people due for review on a day, the longest due first.
    pub async fn due_for_review(&mut self, today: Date) -> Result<Vec<Due>> {
        let settings = self.retention().await?;
        let sql = "SELECT p.id, p.born_on, MAX(a.at) FROM person p JOIN act a ON a.person = p.id \
                   WHERE p.mrn <> '' AND a.verb NOT IN ('look', 'person.access', 'person.hold', 'person.release') \
                   GROUP BY p.id, p.born_on ORDER BY p.id";
        let people: Vec<(i64, String, i64)> =
            on!(self, c => sqlx::query_as(sql).fetch_all(c).await)?;
        let mut due = Vec::new();
        for (person, born_on, last_at) in people {
            let one = due_of(&settings, person, &born_on, last_at);
            if let Some(one) = one.filter(|one| one.due_on <= today.to_string()) {
                due.push(Due { held: self.hold_of(person).await?, ..one });
            }
        }
        due.sort_by(|one, other| one.due_on.cmp(&other.due_on).then(one.person.cmp(&other.person)));
        Ok(due)
    }
}

fn due_of(settings: &RetentionSettings, person: i64, born_on: &str, last_at: i64) -> Option<Due> {
    // The day in UTC: a day's difference in eight years is none.
    let last_on = local_date(last_at, &jiff::tz::TimeZone::UTC);
    let (due_on, rule) = settings.due_on(date(born_on)?, last_on)?;
    Some(Due { person, last_on: last_on.to_string(), due_on: due_on.to_string(), rule, held: None })
}

impl Store {
    /// Sets how long data are kept.
    ///
    /// # Errors
    /// When somebody without the right tries, or a figure is wrong.
    pub async fn put_retention(&self, by: &Author, settings: &RetentionSettings) -> Result<()> {
        governs(by)?;
        let text = serde_json::to_string(settings)
            .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
        RetentionSettings::read(&text)?;
        self.put_setting(by, RETENTION, &text).await.map(|_| ())
    }

    /// Holds a person's data: they are not destroyed until the hold is released.
    ///
    /// # Errors
    /// When somebody without the right tries, or no reason is given.
    pub async fn hold_person(&self, by: &Author, person: i64, reason: &str) -> Result<()> {
        let reason = reason_given(reason)?;
        self.set_hold(by, "person.hold", person, &reason.clone(), &reason).await
    }

    /// Releases a hold.
    ///
    /// # Errors
    /// As [`Store::hold_person`].
    pub async fn release_person(&self, by: &Author, person: i64, reason: &str) -> Result<()> {
        let reason = reason_given(reason)?;
        self.set_hold(by, "person.release", person, "", &reason).await
    }

    async fn set_hold(
        &self,
        by: &Author,
        verb: &'static str,
        person: i64,
        value: &str,
        reason: &str,
    ) -> Result<()> {
        governs(by)?;
        let mut act = self.act(by, verb).await?;
        act.get::<Person>(person).await?;
        let (at, who, name) = (act.at(), by.login.clone(), format!("hold:{person}"));
        act.put(&mut Setting { id: 0, act: 0, name, value: value.to_owned(), at, who }).await?;
        act.on(format!("person {person}"), Some(person));
        act.because(reason);
        act.close().await.map(|_| ())
    }
}

/// Retention, destruction and access are governance's.
pub(crate) fn governs(by: &Author) -> Result<()> {
    if by.role == Role::Governance {
        return Ok(());
    }
    Err(StoreError::refused(
        "not_yours_to_govern",
        "this is done by information governance",
        "ask them",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_adult_is_due_by_the_last_entry_and_a_child_by_a_birthday() {
        let due = |born: &str, last: &str| {
            let (due_on, rule) = RetentionSettings::default()
                .due_on(date(born).unwrap(), date(last).unwrap())
                .unwrap();
            (due_on.to_string(), rule)
        };
        assert_eq!(
            due("1961-04-05", "2026-11-25"),
            ("2034-11-25".to_owned(), "8 years after the last entry".to_owned())
        );
        assert_eq!(due("2008-11-25", "2026-11-25").0, "2034-11-25");
        assert_eq!(
            due("2008-11-26", "2026-11-25"),
            ("2034-11-26".to_owned(), "the 26th birthday".to_owned())
        );
        assert_eq!(
            due("2020-02-29", "2026-11-25"),
            ("2045-02-28".to_owned(), "the 25th birthday".to_owned())
        );
        assert!(RetentionSettings::read(r#"{"adult_years":0}"#).is_err());
    }
}
