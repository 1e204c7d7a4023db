//! Which sides are asked for, and the form that asks for them.

use std::collections::BTreeSet;

use store::reading::compare::Choice;
use store::reading::compare::MOST;
use store::reading::compare::Offered;

use crate::page::Trouble;
use crate::typed::Typed;
use crate::typed::encode;
use crate::visit::Visit;

/// On what time the nights lie over each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Axis {
    /// The time of day.
    Clock,
    /// Hours since lights out.
    Lights,
}

impl Axis {
    fn id(self) -> &'static str {
        match self {
            Self::Clock => "clock",
            Self::Lights => "lights",
        }
    }
}

/// What an address asks for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Asked {
    pub(super) choices: Vec<Choice>,
    pub(super) axis: Axis,
    /// Sent by the form, where night and criteria come apart.
    pub(super) from_form: bool,
}

impl Asked {
    /// Reads `side=NIGHT[.VERSION][@CRITERIA]`, any number of times, and `axis`. The form sends a field
    /// `criteria` after each `side`; sides that are left empty fall away.
    ///
    /// # Errors
    /// When a side is written otherwise.
    pub(super) fn read(typed: &Typed) -> Result<Self, Trouble> {
        let mut choices: Vec<Choice> = Vec::new();
        let (mut from_form, mut kept) = (false, false);
        for (name, value) in typed.fields() {
            match (name.as_str(), value.trim()) {
                ("side", "") => kept = false,
                ("side", text) => {
                    choices.push(side(text).ok_or_else(not_understood)?);
                    kept = true;
                }
                ("criteria", set) => {
                    from_form = true;
                    if let (false, true, Some(last)) = (set.is_empty(), kept, choices.last_mut()) {
                        last.criteria = Some(set.to_owned());
                    }
                }
                _ => {}
            }
        }
        let axis = if typed.get("axis") == "lights" { Axis::Lights } else { Axis::Clock };
        Ok(Self { choices, axis, from_form })
    }

    /// The same as a query.
    pub(super) fn query(&self) -> String {
        let sides = self.choices.iter().map(|choice| {
            let set = choice.criteria.as_ref().map_or_else(String::new, |set| format!("@{set}"));
            format!("side={}{}&", value(choice), encode(&set))
        });
        format!("{}axis={}", sides.collect::<String>(), self.axis.id())
    }
}

fn not_understood() -> Trouble {
    Trouble::not_understood(
        "A side is written as the night's number, with a version after a full stop and criteria after an at sign.",
    )
}

/// `12`, `12.5`, `12.5@adult-air`.
fn side(text: &str) -> Option<Choice> {
    let (night, criteria) = match text.split_once('@') {
        Some((night, set)) => (night, Some(set.to_owned()).filter(|set| !set.is_empty())),
        None => (text, None),
    };
    let (night, version) = match night.split_once('.') {
        Some((night, version)) => (night, Some(version.parse().ok()?)),
        None => (night, None),
    };
    Some(Choice { night: night.parse().ok()?, version, criteria })
}

/// A side without its criteria.
fn value(choice: &Choice) -> String {
    match choice.version {
        Some(version) => format!("{}.{version}", choice.night),
        None => choice.night.to_string(),
    }
}

/// The form.
#[derive(Debug)]
pub(super) struct Chooser {
    pub(super) slots: Vec<Slot>,
    pub(super) by_lights: bool,
    /// Whether more than two are in use.
    pub(super) more: bool,
}

/// One side of the form.
#[derive(Debug)]
pub(super) struct Slot {
    pub(super) letter: char,
    /// Value, words, and whether it is chosen.
    pub(super) nights: Vec<(String, String, bool)>,
    pub(super) sets: Vec<(String, bool)>,
}

impl Chooser {
    pub(super) fn new(
        visit: &Visit,
        asked: &Asked,
        offered: &[Offered],
        sets: &BTreeSet<String>,
    ) -> Self {
        let chosen = proposed(asked, offered);
        let all = options(visit, offered);
        let slots = (0..MOST).map(|at| {
            let choice = chosen.get(at);
            let own = choice.map(value);
            let set = choice.and_then(|choice| choice.criteria.as_deref());
            Slot {
                letter: engine::compare::letter(at),
                nights: all
                    .iter()
                    .map(|(value, words)| {
                        (value.clone(), words.clone(), own.as_ref() == Some(value))
                    })
                    .collect(),
                sets: sets.iter().map(|one| (one.clone(), set == Some(one.as_str()))).collect(),
            }
        });
        Self {
            slots: slots.collect(),
            by_lights: asked.axis == Axis::Lights,
            more: chosen.len() > 2,
        }
    }
}

/// What was asked for; with fewer than two sides the nights next to it, the earlier first.
fn proposed(asked: &Asked, offered: &[Offered]) -> Vec<Choice> {
    if asked.choices.len() > 1 {
        return asked.choices.clone();
    }
    let of = |night: i64| Choice { night, version: None, criteria: None };
    let Some(only) = asked.choices.first() else {
        return offered.iter().take(2).rev().map(|one| of(one.night.id)).collect();
    };
    // The nights stand with the latest first: behind this one is the one before it.
    let at = offered.iter().position(|one| one.night.id == only.night);
    let before = at.and_then(|at| offered.get(at + 1));
    let after = at.and_then(|at| at.checked_sub(1)).and_then(|at| offered.get(at));
    match (before, after) {
        (Some(before), _) => vec![of(before.night.id), only.clone()],
        (None, Some(after)) => vec![only.clone(), of(after.night.id)],
        (None, None) => vec![only.clone()],
    }
}

/// Every night as it stands, and every version of its notes that is not a step back or on again.
fn options(visit: &Visit, offered: &[Offered]) -> Vec<(String, String)> {
    let mut all = Vec::new();
    for one in offered {
        let when = visit.local(one.night.start_at);
        let id = one.night.id;
        all.push((id.to_string(), format!("{when}, as it stands ({})", one.night.status.says())));
        for version in one.versions.iter().rev().filter(|version| version.goes_to.is_none()) {
            let who = match version.replaces {
                Some(_) => format!("{}: ", version.who),
                None => String::new(),
            };
            let words = format!("{when}, {who}{} ({})", version.what, visit.local(version.at));
            all.push((format!("{id}.{}", version.id), words));
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(query: &str) -> Asked {
        Asked::read(&Typed::read(query.as_bytes())).unwrap()
    }

    #[test]
    fn an_address_is_read_and_written_the_same() {
        let query = "side=12&side=12.5@adult-air&side=13@our%20own&axis=lights";
        let read = asked(query);
        assert_eq!(read.choices[1].version, Some(5));
        assert_eq!(read.choices[2].criteria.as_deref(), Some("our own"));
        assert_eq!(asked(&read.query()), read);
    }

    #[test]
    fn what_the_form_sends_becomes_an_address() {
        let read = asked("side=12&criteria=&side=&criteria=adult-air&side=13.5&criteria=adult-air");
        assert!(read.from_form);
        assert_eq!(read.query(), "side=12&side=13.5%40adult-air&axis=clock");
    }

    #[test]
    fn what_is_no_side_is_not_understood() {
        for wrong in ["side=x", "side=1.x", "side=1.", "side=@adult-air"] {
            assert!(Asked::read(&Typed::read(wrong.as_bytes())).is_err(), "{wrong}");
        }
    }
}
