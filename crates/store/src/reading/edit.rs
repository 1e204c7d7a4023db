//! What a person writes into the notes of a night, as text in and text out.
//!
//! The notes of the record are made by the record: one key a line, and a `[[table]]` for each thing. They
//! are changed line by line, so that what nobody touched stays byte for byte as it was.

mod diary;

use engine::recording::MarkKind;
use engine::recording::Quantity;
use engine::unit::kpa_from_mmhg;

use crate::error::Result;
use crate::error::StoreError;
use crate::intake::scoring::quoted;
use crate::people::person::reason_given;

pub use diary::DiaryAnswer;
pub(crate) use diary::Word;
pub(crate) use diary::word_on;

/// One thing a person does to a night. Times are written as in a notes file: `02:10`, or with date and offset.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// A stretch of some channels is not to be believed, or is to be believed again.
    Judge {
        /// Ids of the channels.
        channels: Vec<String>,
        /// From when.
        from: String,
        /// Until when.
        until: String,
        /// `true` puts it back.
        believe: bool,
        /// Why.
        reason: String,
    },
    /// A stretch judged before gets another reason.
    Reason {
        /// Its place among the entries.
        entry: usize,
        /// The new reason.
        reason: String,
    },
    /// A mark more. Lights out and on there are once only: a new one takes the place of the old.
    Mark {
        /// Id of its kind.
        kind: String,
        /// When.
        at: String,
        /// Until when, if it lasts.
        until: Option<String>,
        /// A few words.
        text: String,
    },
    /// A mark is moved.
    Move {
        /// Its place among the entries.
        entry: usize,
        /// The new time.
        at: String,
        /// The new end, if it lasts.
        until: Option<String>,
    },
    /// A mark or a blood gas is taken out.
    Remove {
        /// Its place among the entries.
        entry: usize,
    },
    /// A blood gas.
    BloodGas {
        /// When it was drawn.
        at: String,
        /// Its pressure of carbon dioxide.
        pco2: f64,
        /// Whether that is in mmHg; else in kPa.
        mmhg: bool,
        /// What is to be done where another stands at that minute.
        beside: Beside,
    },
    /// A gas check that came after the night was scored is taken up, as its entry in the notes.
    TakeCheck {
        /// Its keys and values, as [`crate::intake::check::entry_of`] gives them.
        entry: [(&'static str, String); 3],
        /// When it was made, as it is told.
        when: String,
    },
    /// A gas check that was voided is taken out.
    DropCheck {
        /// Its keys and values.
        entry: [(&'static str, String); 3],
        /// When it was made, as it is told.
        when: String,
    },
    /// A diary that came after the night was judged is taken up. What a person wrote by hand stays.
    TakeDiary {
        /// Its number in the record.
        entry: i64,
        /// When it was entered, as it is told.
        when: String,
        /// Its answers that do not stand in the notes.
        answers: Vec<DiaryAnswer>,
    },
    /// A diary that came after the night was judged is left out.
    LeaveDiary {
        /// Its number in the record.
        entry: i64,
        /// When it was entered, as it is told.
        when: String,
        /// Why.
        reason: String,
    },
    /// The question the night is to answer.
    Question {
        /// Its id in the criteria set.
        id: String,
    },
    /// The set of criteria the night is held against.
    Criteria {
        /// Its name.
        name: String,
    },
}

/// What is done with a blood gas at a minute that has one already.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Beside {
    /// Nothing: it is asked about.
    #[default]
    Ask,
    /// They are two samples, and both stand.
    KeepBoth,
    /// The one that stands there was wrong, and goes.
    Replace,
}

/// Notes and criteria after a change, with what was done in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Changed {
    /// The notes.
    pub text: String,
    /// Name of the criteria set.
    pub criteria: String,
    /// What was done.
    pub what: String,
    /// Why, where a reason is asked for.
    pub because: Option<String>,
}

/// Who changes, and when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pen {
    /// The person's name.
    pub name: String,
    /// When, as `2026-11-25T07:30:00Z`.
    pub made_at: String,
}

/// One `[[table]]` of the notes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Its place among the entries.
    pub index: usize,
    /// Its table: `mark`, `blood_gas`, `gas_check`, `exclude`, `put_back`.
    pub table: String,
    /// Its keys with their values as text.
    pub fields: Vec<(String, String)>,
    /// The entry alone, as the text of a notes file.
    pub alone: String,
}

impl Entry {
    /// The value of a key; empty when it has none.
    pub fn get(&self, key: &str) -> &str {
        self.fields.iter().find(|(known, _)| known == key).map_or("", |(_, value)| value.as_str())
    }
}

/// Notes taken apart.
struct Parts {
    head: Vec<String>,
    tables: Vec<Vec<String>>,
}

impl Parts {
    fn of(text: &str) -> Self {
        let mut parts = Self { head: Vec::new(), tables: Vec::new() };
        for line in text.lines() {
            if line.trim_start().starts_with('[') {
                parts.tables.push(vec![line.to_owned()]);
            } else if let Some(table) = parts.tables.last_mut() {
                table.push(line.to_owned());
            } else {
                parts.head.push(line.to_owned());
            }
        }
        parts
    }

    fn text(&self) -> String {
        let lines = self.head.iter().chain(self.tables.iter().flatten());
        lines.flat_map(|line| [line.as_str(), "\n"]).collect()
    }

    fn set_head(&mut self, key: &str, value: Option<String>) {
        set(&mut self.head, key, value);
    }

    fn push(&mut self, table: &str, fields: &[(&str, String)]) {
        let head = format!("[[{table}]]");
        let lines = fields.iter().map(|(key, value)| format!("{key} = {value}"));
        self.push_lines(std::iter::once(head).chain(lines).collect());
    }

    /// A table behind everything, as its lines.
    fn push_lines(&mut self, table: Vec<String>) {
        let last = self.tables.last_mut().unwrap_or(&mut self.head);
        if last.last().is_some_and(|line| !line.trim().is_empty()) {
            last.push(String::new());
        }
        self.tables.push(table);
    }

    fn entry(&mut self, index: usize, of: &[&str]) -> Result<&mut Vec<String>> {
        let table = self.tables.get_mut(index).filter(|table| of.contains(&name_of(table)));
        table.ok_or_else(|| {
            let says = "what was to be changed does not stand in the notes";
            StoreError::refused("no_such_entry", says, "open the night again")
        })
    }

    /// Takes an entry out; remarks that stand under it stay.
    fn remove(&mut self, index: usize) {
        let table = self.tables.remove(index);
        let kept = table.into_iter().filter(|line| line.trim_start().starts_with('#'));
        match index.checked_sub(1).and_then(|before| self.tables.get_mut(before)) {
            Some(before) => before.extend(kept),
            None => self.head.extend(kept),
        }
    }
}

/// A blood gas at a minute that has one already.
struct GasThere {
    /// Its place among the tables.
    index: usize,
    pco2_kpa: f64,
    /// As it was written, with its unit.
    words: String,
}

impl Parts {
    /// The blood gases that stand at the minute of a time, but for one.
    fn gases_at(&self, at: &str, but: Option<usize>) -> Vec<GasThere> {
        let Some(asked) = minute(at) else { return Vec::new() };
        let all = self.tables.iter().enumerate();
        let gases =
            all.filter(|(index, table)| name_of(table) == "blood_gas" && Some(*index) != but);
        let there = gases.filter_map(|(index, table)| {
            let keys = toml::from_str::<toml::Table>(&table[1..].join("\n")).ok()?;
            let number = |key: &str| {
                let value = keys.get(key)?;
                value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64))
            };
            let same = minute(&words(keys.get("at")?))? == asked;
            let (pco2_kpa, words) = match (number("pco2_kpa"), number("pco2_mmhg")) {
                (Some(kpa), _) => (kpa, format!("{kpa} kPa")),
                (None, mmhg) => (kpa_from_mmhg(mmhg?), format!("{} mmHg", mmhg?)),
            };
            same.then_some(GasThere { index, pco2_kpa, words })
        });
        there.collect()
    }

    /// Refuses to move a blood gas to the minute of another.
    fn no_gas_there(&self, entry: usize, at: &str) -> Result<()> {
        let is_gas = self.tables.get(entry).is_some_and(|table| name_of(table) == "blood_gas");
        let there = if is_gas { self.gases_at(at, Some(entry)) } else { Vec::new() };
        let Some(there) = there.first() else { return Ok(()) };
        let says = format!("a blood gas of {} stands at {at} already", there.words);
        Err(StoreError::refused("gas_there", says, "take out the one that is wrong"))
    }
}

/// The minute of the day of a time as notes write it: `6:50`, `06:50:30`, `2026-11-25T06:50+00:00`.
pub(crate) fn minute(at: &str) -> Option<(u32, u32)> {
    let clock = at.rsplit(['T', ' ']).next()?;
    let mut parts = clock.split([':', '+', 'Z']);
    Some((parts.next()?.trim().parse().ok()?, parts.next()?.get(..2)?.parse().ok()?))
}

/// Enters a blood gas. One that stands at the same minute is asked about: two numbers of one moment cannot
/// both be what was meant, unless somebody says that they are two samples.
fn blood_gas(
    parts: &mut Parts,
    at: &str,
    (pco2, mmhg): (f64, bool),
    beside: Beside,
) -> Result<String> {
    let (key, unit) = if mmhg { ("pco2_mmhg", "mmHg") } else { ("pco2_kpa", "kPa") };
    let kpa = if mmhg { kpa_from_mmhg(pco2) } else { pco2 };
    let there = parts.gases_at(at, None);
    if let Some(same) = there.iter().find(|one| (one.pco2_kpa - kpa).abs() < 0.005) {
        let says = format!("a blood gas of {} stands at {at} already", same.words);
        return Err(StoreError::refused("gas_twice", says, "one gas is entered once"));
    }
    let mut entered = format!("entered a blood gas of {pco2} {unit} at {at}");
    match (beside, there.first()) {
        (_, None) => {}
        (Beside::Ask, Some(other)) => {
            let says = format!(
                "a blood gas of {} stands at {at} already, and this one is {pco2} {unit}",
                other.words
            );
            let hint = "say which is right: put this one in its place, or keep both as two samples";
            return Err(StoreError::refused("gas_there", says, hint));
        }
        (Beside::KeepBoth, Some(other)) => {
            entered = format!("{entered} beside one of {}", other.words);
        }
        (Beside::Replace, Some(_)) => {
            let gone: Vec<&str> = there.iter().map(|one| one.words.as_str()).collect();
            entered = format!("{entered} in place of {}", gone.join(" and "));
            for one in there.iter().rev() {
                parts.remove(one.index);
            }
        }
    }
    parts.push("blood_gas", &[("at", quoted(at)), (key, format!("{pco2:?}"))]);
    Ok(entered)
}

/// `mark` of `[[mark]]`.
fn name_of(table: &[String]) -> &str {
    table.first().map_or("", |line| line.trim().trim_matches(['[', ']']))
}

/// Sets a key among lines, or takes it out.
fn set(lines: &mut Vec<String>, key: &str, value: Option<String>) {
    let is = |line: &str| {
        line.trim_start().strip_prefix(key).is_some_and(|rest| rest.trim_start().starts_with('='))
    };
    let at = lines.iter().position(|line| is(line));
    match (at, value) {
        (Some(at), Some(value)) => lines[at] = format!("{key} = {value}"),
        (Some(at), None) => {
            lines.remove(at);
        }
        (None, Some(value)) => {
            let end = lines.iter().rposition(|line| !line.trim().is_empty()).map_or(0, |at| at + 1);
            lines.insert(end, format!("{key} = {value}"));
        }
        (None, None) => {}
    }
}

/// A key that stands before every table, such as `lights_out`; `None` when the notes do not have it.
pub fn head_key(text: &str, key: &str) -> Option<String> {
    let head: String = Parts::of(text).head.join("\n");
    Some(words(toml::from_str::<toml::Table>(&head).ok()?.get(key)?))
}

/// Every table of the notes in its order.
pub fn entries(text: &str) -> Vec<Entry> {
    let parts = Parts::of(text);
    let read = parts.tables.iter().enumerate().map(|(index, lines)| {
        let keys = toml::from_str::<toml::Table>(&lines[1..].join("\n")).unwrap_or_default();
        Entry {
            index,
            table: name_of(lines).to_owned(),
            fields: keys.iter().map(|(key, value)| (key.clone(), words(value))).collect(),
            alone: lines.join("\n"),
        }
    });
    read.collect()
}

fn words(value: &toml::Value) -> String {
    match value {
        toml::Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

impl Change {
    /// The notes after this change. Whether its times can be placed shows when the night is scored with them.
    ///
    /// # Errors
    /// When a reason is missing, a channel or kind is not known, or the entry does not stand in the notes.
    pub fn apply(&self, text: &str, criteria: &str, pen: &Pen) -> Result<Changed> {
        let mut parts = Parts::of(text);
        let mut criteria = criteria.to_owned();
        let mut because = None;
        let what = match self {
            Self::Judge { channels, from, until, believe, reason } => {
                let reason = because.insert(reason_given(reason)?);
                let stretch = (from.as_str(), until.as_str(), *believe);
                judge(&mut parts, channels, stretch, reason, pen)?
            }
            Self::Reason { entry, reason } => {
                let reason = because.insert(reason_given(reason)?);
                let lines = parts.entry(*entry, &["exclude", "put_back"])?;
                set(lines, "reason", Some(quoted(reason)));
                set(lines, "author", Some(quoted(&pen.name)));
                set(lines, "made_at", Some(quoted(&pen.made_at)));
                "gave another reason".to_owned()
            }
            Self::Mark { kind, at, until, text } => {
                mark(&mut parts, kind, at, until.as_deref(), text)?
            }
            Self::Move { entry, at, until } => {
                parts.no_gas_there(*entry, at)?;
                let lines = parts.entry(*entry, &["mark", "blood_gas"])?;
                set(lines, "at", Some(quoted(at)));
                set(lines, "until", until.as_deref().map(quoted));
                format!("moved a {} to {at}", name_of(lines).replace('_', " "))
            }
            Self::Remove { entry } => {
                let table = name_of(parts.entry(*entry, &["mark", "blood_gas"])?).to_owned();
                parts.remove(*entry);
                format!("took a {} out", table.replace('_', " "))
            }
            Self::BloodGas { at, pco2, mmhg, beside } => {
                blood_gas(&mut parts, at, (*pco2, *mmhg), *beside)?
            }
            Self::TakeCheck { entry, when } => {
                parts.push("gas_check", entry);
                format!("took up the gas check of {when}")
            }
            Self::DropCheck { entry, when } => {
                drop_check(&mut parts, entry)?;
                format!("took the gas check of {when} out")
            }
            Self::TakeDiary { entry, when, answers } => {
                diary::take(&mut parts, *entry, when, answers)
            }
            Self::LeaveDiary { entry, when, reason } => {
                let reason = because.insert(reason_given(reason)?);
                diary::leave(&mut parts, *entry, reason);
                format!("left out the diary entered at {when}")
            }
            Self::Question { id } => {
                parts.set_head("question", Some(quoted(id)));
                format!("asks {}", id.replace('_', " "))
            }
            Self::Criteria { name } => {
                name.clone_into(&mut criteria);
                format!("holds it against {name}")
            }
        };
        Ok(Changed { text: parts.text(), criteria, what, because })
    }
}

fn drop_check(parts: &mut Parts, entry: &[(&'static str, String); 3]) -> Result<()> {
    let lines: Vec<String> = entry.iter().map(|(key, value)| format!("{key} = {value}")).collect();
    let is = |table: &Vec<String>| {
        name_of(table) == "gas_check" && lines.iter().all(|line| table.contains(line))
    };
    let at = parts.tables.iter().position(is);
    parts.entry(at.unwrap_or(usize::MAX), &["gas_check"])?;
    parts.remove(at.unwrap_or_default());
    Ok(())
}

fn judge(
    parts: &mut Parts,
    channels: &[String],
    (from, until, believe): (&str, &str, bool),
    reason: &str,
    pen: &Pen,
) -> Result<String> {
    let known: Option<Vec<Quantity>> =
        channels.iter().map(|channel| Quantity::from_id(channel)).collect();
    let Some(known) = known.filter(|known| !known.is_empty()) else {
        return Err(StoreError::refused("no_channel", "no channel was chosen", "choose one"));
    };
    let table = if believe { "put_back" } else { "exclude" };
    for channel in &known {
        parts.push(
            table,
            &[
                ("channel", quoted(channel.id())),
                ("from", quoted(from)),
                ("until", quoted(until)),
                ("author", quoted(&pen.name)),
                ("made_at", quoted(&pen.made_at)),
                ("reason", quoted(reason)),
            ],
        );
    }
    let names: Vec<&str> = known.iter().map(|channel| channel.name()).collect();
    let verb = if believe { "put back" } else { "excluded" };
    Ok(format!("{verb} {} from {from} to {until}", names.join(", ")))
}

fn mark(
    parts: &mut Parts,
    kind: &str,
    at: &str,
    until: Option<&str>,
    text: &str,
) -> Result<String> {
    let Some(known) = MarkKind::from_id(kind) else {
        let says = format!("there is no kind of mark {kind}");
        return Err(StoreError::refused("no_such_mark", says, "choose one of the list"));
    };
    let said = known.id().replace('_', " ");
    if matches!(known, MarkKind::LightsOut | MarkKind::LightsOn) {
        parts.set_head(known.id(), Some(quoted(at)));
        return Ok(format!("set {said} to {at}"));
    }
    let mut fields = vec![("kind", quoted(known.id())), ("at", quoted(at))];
    fields.extend(until.map(|until| ("until", quoted(until))));
    if !text.trim().is_empty() {
        fields.push(("text", quoted(text.trim())));
    }
    parts.push("mark", &fields);
    Ok(format!("marked {said} at {at}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOTES: &str = "zone = \"Europe/London\"\nlights_out = \"23:10\"\n\n[[mark]]\nkind = \"up\"\nat = \"02:10\"\n# he wrote: could not sleep\n\n[[gas_check]]\nat = \"22:00\"\nexpected_kpa = 5.0\nobserved_kpa = 5.2\n";

    fn pen() -> Pen {
        Pen { name: "Ada \"A\" Reader".to_owned(), made_at: "2026-11-25T07:30:00Z".to_owned() }
    }

    fn after(text: &str, change: &Change) -> String {
        change.apply(text, "adult-air", &pen()).unwrap().text
    }

    fn exclude(from: &str, believe: bool) -> Change {
        let channels = vec!["tcpco2".to_owned()];
        let (until, reason) = ("03:20".to_owned(), "lay on it\n[[mark]]".to_owned());
        Change::Judge { channels, from: from.to_owned(), until, believe, reason }
    }

    #[test]
    fn a_stretch_is_added_behind_everything_and_the_rest_stays_as_it_was() {
        let text = after(NOTES, &exclude("03:00", false));
        assert!(text.starts_with(NOTES), "{text}");
        let last = entries(&text).pop().unwrap();
        assert_eq!((last.table.as_str(), last.get("author")), ("exclude", "Ada \"A\" Reader"));
        assert_eq!(last.get("reason"), "lay on it [[mark]]");
        let both = after(&text, &exclude("03:05", true));
        let tables: Vec<String> = entries(&both).into_iter().map(|entry| entry.table).collect();
        assert_eq!(tables, ["mark", "gas_check", "exclude", "put_back"]);
        engine::notes::NotesFile::parse(&both).unwrap();
    }

    #[test]
    fn a_mark_is_moved_and_taken_out_and_remarks_stay() {
        let moved = Change::Move { entry: 0, at: "02:30".to_owned(), until: None };
        assert_eq!(entries(&after(NOTES, &moved))[0].get("at"), "02:30");
        let gone = after(NOTES, &Change::Remove { entry: 0 });
        assert_eq!(entries(&gone).len(), 1);
        assert!(gone.contains("# he wrote"), "{gone}");
        let lights = Change::Mark {
            kind: "lights_out".to_owned(),
            at: "23:30".to_owned(),
            until: None,
            text: String::new(),
        };
        let set = after(NOTES, &lights);
        assert_eq!(head_key(&set, "lights_out").as_deref(), Some("23:30"));
        assert_eq!(set.matches("lights_out").count(), 1);
    }

    fn gas(at: &str, pco2: f64, mmhg: bool, beside: Beside) -> Change {
        Change::BloodGas { at: at.to_owned(), pco2, mmhg, beside }
    }

    #[test]
    fn a_second_blood_gas_of_one_minute_is_asked_about() {
        let one = after(NOTES, &gas("06:32", 6.57, false, Beside::Ask));
        let try_in = |text: &str, change: &Change| change.apply(text, "adult-air", &pen());
        for at in ["06:32", "6:32", "06:32:40", "2026-11-25T06:32", "2026-11-25T06:32:00+00:00"] {
            let asked = try_in(&one, &gas(at, 6.9, false, Beside::Ask)).unwrap_err();
            assert!(asked.is("gas_there"), "{at}");
            let says = asked.to_string();
            assert!(says.contains("6.57 kPa") && says.contains("6.9 kPa"), "{says}");
            // The same number again is one gas typed twice, whatever is said of it.
            for beside in [Beside::Ask, Beside::KeepBoth, Beside::Replace] {
                assert!(try_in(&one, &gas(at, 6.57, false, beside)).unwrap_err().is("gas_twice"));
                assert!(try_in(&one, &gas(at, 49.28, true, beside)).unwrap_err().is("gas_twice"));
            }
        }
        let gases = |text: &str| -> Vec<String> {
            let all = entries(text).into_iter().filter(|entry| entry.table == "blood_gas");
            all.map(|entry| format!("{}{}", entry.get("pco2_kpa"), entry.get("pco2_mmhg")))
                .collect()
        };
        let both = after(&one, &gas("06:32", 6.9, false, Beside::KeepBoth));
        assert_eq!(gases(&both), ["6.57", "6.9"]);
        let replaced = try_in(&both, &gas("06:32", 50.0, true, Beside::Replace)).unwrap();
        assert_eq!(gases(&replaced.text), ["50.0"]);
        assert!(replaced.what.contains("in place of 6.57 kPa and 6.9 kPa"), "{}", replaced.what);
        // Another minute is another gas; moved to that minute it is asked about too.
        let apart = after(&one, &gas("06:40", 6.9, false, Beside::Ask));
        let moved = Change::Move { entry: 3, at: "06:32".to_owned(), until: None };
        assert_eq!(gases(&apart).len(), 2);
        assert!(try_in(&apart, &moved).unwrap_err().is("gas_there"));
        let still = Change::Move { entry: 3, at: "06:40".to_owned(), until: None };
        assert!(try_in(&apart, &still).is_ok());
    }

    #[test]
    fn a_gas_check_of_the_desk_is_not_taken_out_and_no_stretch_without_a_reason() {
        let gone = Change::Remove { entry: 1 }.apply(NOTES, "adult-air", &pen());
        assert!(gone.unwrap_err().is("no_such_entry"));
        let mut silent = exclude("03:00", false);
        if let Change::Judge { reason, .. } = &mut silent {
            reason.clear();
        }
        assert!(silent.apply(NOTES, "adult-air", &pen()).is_err());
    }
}
