//! The department's settings for the desk, and versions of its texts.

use jiff::civil::Time;
use jiff::tz::TimeZone;
use serde::Deserialize;
use serde::Serialize;

use crate::error::Result;
use crate::error::StoreError;
use crate::record::act::Author;
use crate::record::chain_head;
use crate::record::clock;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::tables::Setting;

/// Name of the desk's settings among the settings.
pub const DESK: &str = "desk";

/// How the desk works. Every figure is the department's own: common practice, no source, unless said.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct DeskSettings {
    /// Name of the hospital.
    pub hospital: String,
    /// Name of the department.
    pub department: String,
    /// Telephone of the desk.
    pub telephone: String,
    /// When somebody answers it, in words: `Monday to Friday, 8:00 to 17:00`.
    pub telephone_hours: String,
    /// Whom a patient rings for help at once.
    pub emergency_telephone: String,
    /// Whom a patient rings who needs care the same day while the desk is closed, for instance for a small burn;
    /// in the United Kingdom 111 (from memory). Without it no leaflet is printed.
    pub urgent_telephone: String,
    /// IANA name of the zone the department lives in.
    pub zone: String,
    /// By what local time a monitor must be back, `10:00`.
    pub hand_in_by: String,
    /// Where it may be handed in, with opening times.
    pub return_places: Vec<String>,
    /// What belongs in the bag.
    pub parts: Vec<String>,
    /// How far a gas check may lie from what the gas should give, kPa.
    pub gas_limit_kpa: f64,
    /// Least and most carbon dioxide that a check gas gives, kPa: what lies outside was typed in another unit.
    pub gas_range_kpa: [f64; 2],
    /// How many days a membrane may be used.
    pub membrane_days: i64,
    /// How far a monitor's clock may lie from the wall clock, s.
    pub clock_limit_s: i64,
    /// Longest time of the heated sensor at one place, h, for the hottest sensor and the most tender skin it is lent
    /// for. There is no figure unless the department sets one: then each hand-out asks.
    pub longest_hours: Option<f64>,
    /// From what local time the sensor may be put on, unless a loan's leaflet says another: the leaflet reckons from
    /// it when an alarm must ring.
    pub put_on_from: String,
    /// Days after which a borrower is rung, written to, and the manager is told.
    pub ladder_days: [i64; 3],
    /// How a monitor is cleaned, by the department's procedure.
    pub cleaning: Vec<String>,
    /// Most nights one loan may have.
    pub most_nights: i64,
    /// Minutes without a key or click after which a session ends.
    pub idle_min: i64,
    /// How far ahead of the last act the server's clock may be and be believed, days.
    pub clock_ahead_days: i64,
    /// After how many acts the head of the chain is written down outside the database.
    pub heads_every: i64,
}

impl Default for DeskSettings {
    fn default() -> Self {
        let texts = |all: &[&str]| all.iter().map(|one| (*one).to_owned()).collect();
        Self {
            hospital: String::new(),
            department: "Respiratory physiology".to_owned(),
            telephone: String::new(),
            telephone_hours: "Monday to Friday, 8:00 to 17:00".to_owned(),
            emergency_telephone: "999".to_owned(),
            urgent_telephone: String::new(),
            zone: "Europe/London".to_owned(),
            hand_in_by: "10:00".to_owned(),
            return_places: texts(&["the desk where it was handed out"]),
            parts: texts(&[
                "monitor",
                "sensor",
                "spare ear clips",
                "contact gel",
                "skin wipes",
                "mains cable",
            ]),
            gas_limit_kpa: 0.4,
            gas_range_kpa: [2.0, 12.0],
            membrane_days: 14,
            clock_limit_s: 120,
            longest_hours: None,
            put_on_from: "22:00".to_owned(),
            ladder_days: [1, 3, 7],
            cleaning: texts(&["wiped with detergent and disinfectant wipes"]),
            most_nights: 7,
            idle_min: 15,
            clock_ahead_days: clock::AHEAD_DAYS,
            heads_every: chain_head::EVERY,
        }
    }
}

impl DeskSettings {
    /// The zone; the one of the default when the name is not known.
    pub fn zone(&self) -> TimeZone {
        TimeZone::get(&self.zone).unwrap_or(TimeZone::UTC)
    }

    /// The local time a monitor must be back.
    pub fn hand_in_by(&self) -> Time {
        self.hand_in_by.parse().unwrap_or(jiff::civil::time(10, 0, 0, 0))
    }

    /// The local time before which the sensor is not put on.
    pub fn put_on_from(&self) -> Time {
        self.put_on_from.parse().unwrap_or(jiff::civil::time(22, 0, 0, 0))
    }

    /// Longest time at one place, whole minutes: never more than was set.
    #[expect(clippy::cast_possible_truncation, reason = "a setting is at most a day")]
    pub fn longest_min(&self) -> Option<i64> {
        self.longest_hours.map(|hours| (hours.min(24.0) * 60.0).floor() as i64)
    }

    /// The minutes a sensor may stay at one place when `asked` were asked for: those, or what is set.
    ///
    /// # Errors
    /// When none is known, or more are asked for than are set.
    pub fn worn_min(&self, asked: Option<i64>) -> Result<i64> {
        let set = self.longest_min();
        match (asked, set) {
            (None, None) => Err(StoreError::refused(
                "hours_missing",
                "how long the sensor may stay at one place has not been said",
                "say it for this monitor, its temperature and this skin, or set it under Settings, the desk",
            )),
            (Some(asked), _) if asked < 15 || asked > set.unwrap_or(1_440) => {
                let most = self.longest_hours.unwrap_or(24.0);
                Err(StoreError::refused(
                    "hours_wrong",
                    format!(
                        "the time at one place is not between a quarter of an hour and {most} h"
                    ),
                    "give fewer hours; the most is the department's setting",
                ))
            }
            (Some(worn), _) | (None, Some(worn)) => Ok(worn),
        }
    }

    /// Settings as a person wrote them.
    ///
    /// # Errors
    /// What cannot be: an unknown key or zone, a time that is none, a figure out of its range.
    pub fn read(text: &str) -> Result<Self> {
        let wrong = |says: String, hint: &str| StoreError::refused("setting_wrong", says, hint);
        let read: Self = serde_json::from_str(text).map_err(|error| {
            wrong(format!("the desk's settings cannot be read: {error}"), "correct the place named")
        })?;
        if TimeZone::get(&read.zone).is_err() {
            return Err(wrong(
                format!("there is no time zone {}", read.zone),
                "give a name such as Europe/London",
            ));
        }
        let times = [&read.hand_in_by, &read.put_on_from];
        if let Some(time) = times.into_iter().find(|time| time.parse::<Time>().is_err()) {
            return Err(wrong(format!("{time} is no time of day"), "write it as 10:00"));
        }
        // What the desk chooses from when a monitor goes out, is cleaned and comes back.
        let lists = [
            ("return_places", &read.return_places),
            ("parts", &read.parts),
            ("cleaning", &read.cleaning),
        ];
        let empty = |all: &Vec<String>| all.iter().all(|one| one.trim().is_empty());
        if let Some((name, _)) = lists.iter().find(|(_, all)| empty(all)) {
            return Err(wrong(format!("{name} is empty"), "name at least one, a line each"));
        }
        let [ring, letter, manager] = read.ladder_days;
        let [least, most] = read.gas_range_kpa;
        let ranges = [
            ("gas_limit_kpa", read.gas_limit_kpa > 0.0 && read.gas_limit_kpa < 5.0),
            ("gas_range_kpa", 0.0 < least && least < most && most <= 15.0),
            ("longest_hours", read.longest_hours.is_none_or(can_be_worn)),
            ("membrane_days", (1..=365).contains(&read.membrane_days)),
            ("clock_limit_s", (1..=3600).contains(&read.clock_limit_s)),
            ("ladder_days", 0 < ring && ring < letter && letter < manager && manager <= 365),
            ("most_nights", (1..=30).contains(&read.most_nights)),
            ("idle_min", (2..=240).contains(&read.idle_min)),
            ("clock_ahead_days", (1..=3650).contains(&read.clock_ahead_days)),
            ("heads_every", (1..=1000).contains(&read.heads_every)),
        ];
        match ranges.iter().find(|(_, right)| !right) {
            Some((name, _)) => Err(wrong(
                format!("{name} is out of its range"),
                "look at the example in docs/record.md",
            )),
            None => Ok(read),
        }
    }
}

/// Whether a time at one place can be meant, h: a quarter of an hour to a day.
fn can_be_worn(hours: f64) -> bool {
    (0.25..=24.0).contains(&hours)
}

impl Conn {
    /// The latest version of a setting; `None` when it was never set.
    pub async fn setting(&mut self, name: &str) -> Result<Option<Setting>> {
        self.first("WHERE name = $1 ORDER BY id DESC LIMIT 1", &[name.into()]).await
    }

    /// How the desk works now.
    ///
    /// # Errors
    /// When the database breaks off, or what is kept cannot be read.
    pub async fn desk_settings(&mut self) -> Result<DeskSettings> {
        match self.setting(DESK).await? {
            None => Ok(DeskSettings::default()),
            Some(kept) => serde_json::from_str(&kept.value).map_err(|error| StoreError::Damaged {
                says: format!("the desk's settings cannot be read: {error}"),
            }),
        }
    }
}

impl Store {
    /// Writes a new version of a setting; the old ones stay.
    ///
    /// # Errors
    /// When the desk's settings are wrong.
    pub async fn put_setting(&self, by: &Author, name: &str, value: &str) -> Result<Setting> {
        if name == DESK {
            DeskSettings::read(value)?;
        }
        let mut act = self.act(by, "setting.put").await?;
        let mut row = Setting {
            id: 0,
            act: 0,
            name: name.to_owned(),
            value: value.to_owned(),
            at: act.at(),
            who: by.login.clone(),
        };
        act.put(&mut row).await?;
        act.close().await?;
        Ok(row)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_reads_back_and_what_is_wrong_is_named() {
        let text = serde_json::to_string(&DeskSettings::default()).unwrap();
        assert_eq!(DeskSettings::read(&text).unwrap(), DeskSettings::default());
        for (wrong, says) in [
            (r#"{"zone":"Mars/Base"}"#, "there is no time zone Mars/Base"),
            (r#"{"hand_in_by":"25:00"}"#, "25:00 is no time of day"),
            (r#"{"put_on_from":"late"}"#, "late is no time of day"),
            (r#"{"longest_hours":0}"#, "longest_hours is out of its range"),
            (r#"{"ladder_days":[3,1,7]}"#, "ladder_days is out of its range"),
            (r#"{"gas_limit_kpa":-1}"#, "gas_limit_kpa is out of its range"),
            (r#"{"return_places":[]}"#, "return_places is empty"),
            (r#"{"cleaning":[" "]}"#, "cleaning is empty"),
        ] {
            assert_eq!(DeskSettings::read(wrong).unwrap_err().to_string(), says);
        }
        assert!(DeskSettings::read(r#"{"zoen":"UTC"}"#).unwrap_err().to_string().contains("zoen"));
    }
}
