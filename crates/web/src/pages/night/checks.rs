//! Gas checks that came after a night was scored: what each would change, and its reader's word on it.

use std::collections::BTreeSet;

use axum::extract::Path;
use engine::report::FigureLine;
use engine::report::Report;
use engine::report::RuleLine;
use serde_json::Value;
use store::intake::check::NightCheck;
use store::intake::check::Speaks;
use store::intake::check::entry_of;
use store::reading::edit::Change;
use store::reading::edit::Pen;
use store::reading::steps::Step;
use store::reading::steps::judged;
use store::words::NightStatus;

use super::Reading;
use super::acts::seen;
use super::acts::stepped;
use crate::access::Right;
use crate::form::Field;
use crate::form::Form;
use crate::page::Answer;
use crate::page::Trouble;
use crate::typed::Typed;
use crate::visit::Visit;

/// The figures that say what a check would do to a night's CO2.
const FIGURES: [&str; 2] = ["tcpco2.sustained10", "tcpco2.mean"];

/// A check or a diary that waits for the reader's word.
pub(super) struct OfferRow {
    pub(super) says: String,
    /// What would be otherwise, a sentence each.
    pub(super) would: Vec<String>,
    /// What can be said to it; of a signed night nothing is offered.
    pub(super) forms: Vec<Form>,
}

/// The change a check asks of its reader: to be taken up, or to be taken out.
fn change(visit: &Visit, one: &NightCheck) -> Option<(Change, bool)> {
    let (entry, when) = (entry_of(&one.check)?, visit.local(one.check.at));
    match one.speaks {
        Speaks::Anchor if one.is_pending() => Some((Change::TakeCheck { entry, when }, true)),
        Speaks::Voided | Speaks::Serviced if one.taken => {
            Some((Change::DropCheck { entry, when }, false))
        }
        _ => None,
    }
}

/// The checks of a night that wait for a word, with what each would change.
pub(super) async fn rows(visit: &Visit, reading: &Reading) -> Result<Vec<OfferRow>, Trouble> {
    let checks = visit.app.store().read().await?.checks_of(&reading.night).await?;
    let mut rows = Vec::new();
    for one in checks {
        let Some((change, takes)) = change(visit, &one) else { continue };
        let at = visit.local(one.check.at);
        let says = match (takes, one.speaks) {
            (true, _) => {
                format!("A gas check at {at} came after this night was scored. Take it up?")
            }
            (false, Speaks::Voided) => {
                format!("The gas check of {at} in the notes of this night was voided. Take it out?")
            }
            (false, _) => format!(
                "The sensor was changed or worked on between this night and the gas check of {at} in its notes. Take it out?"
            ),
        };
        rows.push(OfferRow {
            says,
            would: would(reading, &change, "this check").await?,
            forms: form(visit, reading, one.check.id, takes).into_iter().collect(),
        });
    }
    Ok(rows)
}

fn form(visit: &Visit, reading: &Reading, check: i64, takes: bool) -> Option<Form> {
    let may = visit.may(Right::Read) && reading.night.status != NightStatus::Signed;
    let (path, word) =
        if takes { ("take-check", "Take it up") } else { ("drop-check", "Take it out") };
    let form = visit.form(format!("/nights/{}/{path}", reading.night.id), word);
    let form = form.field(Field::hidden("seen", reading.night.act.to_string()));
    may.then(|| form.field(Field::hidden("check", check.to_string())))
}

/// What would be otherwise after a change: CO2 held for ten minutes and its mean, every rule that turns, and every
/// part of the report in which any word or figure would be another.
pub(super) async fn would(
    reading: &Reading,
    change: &Change,
    of: &str,
) -> Result<Vec<String>, Trouble> {
    let (opened, criteria) = (reading.opened.clone(), reading.opened.criteria.clone());
    let pen = Pen { name: String::new(), made_at: String::new() };
    let notes = change.apply(&reading.night.notes, &criteria.name, &pen)?.text;
    let run = tokio::task::spawn_blocking(move || {
        let judgement = judged(&opened.recording, &notes, &criteria)?;
        Ok::<_, store::error::StoreError>(engine::report::report(&judgement, &criteria))
    });
    let after = run.await.map_err(|error| Trouble::broken(error.to_string()))??;
    Ok(differences(&reading.opened.report, &after, of))
}

fn differences(before: &Report, after: &Report, of: &str) -> Vec<String> {
    let lines = |report: &Report| -> Vec<FigureLine> {
        report.figures.iter().flat_map(|group| group.lines.clone()).collect()
    };
    let (old, new) = (lines(before), lines(after));
    let mut all: Vec<String> = FIGURES.iter().filter_map(|id| figure(id, &old, &new)).collect();
    all.extend(after.rules.iter().filter_map(|rule| turned(rule, &before.rules)));
    if before.headline != after.headline {
        all.push(format!("The headline would be: {}", after.headline));
    }
    let parts = parts(&written(before), &written(after));
    all.push(if parts.is_empty() {
        format!(
            "No word and no figure of the report would change; only what is said of {of} would go."
        )
    } else {
        format!("Printed otherwise would be {}.", parts.join(", "))
    });
    all
}

/// The whole report as it is written. It holds no time of its making.
fn written(report: &Report) -> Value {
    serde_json::from_str(&engine::print::json_report(report)).unwrap_or(Value::Null)
}

/// Parts of a written report, in the words of its page.
const PARTS: [(&str, &str); 18] = [
    ("night", "what is told of the night"),
    ("answer", "the answer"),
    ("first", "what stands first"),
    ("headline", "the headline"),
    ("severe", "what is severe"),
    ("not_read", "what was not read"),
    ("summary", "the summary"),
    ("decision", "whether the night answers"),
    ("decision_words", "whether the night answers"),
    ("reasons", "the reasons"),
    ("brief_reasons", "the reasons"),
    ("mend", "what would mend it"),
    ("rules", "the rules with their margins"),
    ("figures", "the figures"),
    ("quality", "what is believed"),
    ("correction", "the correction of CO2"),
    ("cautions", "the cautions"),
    ("picture", "the curves"),
];

/// The parts in which two written reports differ, each once.
fn parts(before: &Value, after: &Value) -> Vec<String> {
    let keys = |value: &Value| -> Vec<String> {
        value.as_object().map_or_else(Vec::new, |all| all.keys().cloned().collect())
    };
    let mut all: Vec<String> = Vec::new();
    let both: BTreeSet<String> = keys(before).into_iter().chain(keys(after)).collect();
    for key in both.iter().filter(|key| before.get(*key) != after.get(*key)) {
        let known = PARTS.iter().find(|(name, _)| name == key);
        let words =
            known.map_or_else(|| format!("the {}", key.replace('_', " ")), |one| one.1.to_owned());
        if !all.contains(&words) {
            all.push(words);
        }
    }
    all
}

fn figure(id: &str, old: &[FigureLine], new: &[FigureLine]) -> Option<String> {
    let of = |all: &[FigureLine]| {
        let line = all.iter().find(|line| line.id == id)?;
        Some((
            line.name.clone(),
            line.value.clone().unwrap_or_else(|| "none".to_owned()),
            line.unit.clone(),
        ))
    };
    let ((name, was, unit), (_, is, _)) = (of(old)?, of(new)?);
    (was != is).then(|| format!("{name} was {was} {unit}, would be {is} {unit}."))
}

fn turned(rule: &RuleLine, old: &[RuleLine]) -> Option<String> {
    let was = old.iter().find(|one| one.id == rule.id)?.answer;
    (was != rule.answer)
        .then(|| format!("{}: was {}, would be {}.", rule.asks, was.words(), rule.answer.words()))
}

/// `POST /nights/{id}/take-check` and `/drop-check`: the reader's word on a check.
pub(super) async fn step(visit: Visit, Path(id): Path<i64>, typed: Typed, takes: bool) -> Answer {
    Box::pin(taken(&visit, id, &typed, takes)).await
}

async fn taken(visit: &Visit, id: i64, typed: &Typed, takes: bool) -> Answer {
    let seen = seen(typed)?;
    let reading = Reading::open(visit, id).await?;
    let checks = visit.app.store().read().await?.checks_of(&reading.night).await?;
    let wanted = checks.iter().find(|one| Some(one.check.id) == typed.number("check"));
    let change = wanted
        .and_then(|one| change(visit, one))
        .filter(|(_, does)| *does == takes)
        .map(|(change, _)| change);
    let Some(change) = change else {
        let says = "This gas check does not wait for a word on this night any more.";
        return Err(Trouble::not_understood(says));
    };
    stepped(visit, typed, reading, (seen, Step::Change(change))).await
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    /// Whatever is printed counts: a word deep in a part is a difference of that part.
    #[test]
    fn a_change_of_any_printed_word_is_told_by_its_part() {
        let before = json!({
            "headline": "A.", "reasons": ["one"], "brief_reasons": ["one"],
            "rules": [{"id": "a", "answer": "met", "margin": "0.31 kPa"}],
            "findings": [{"sentence": "x"}], "picture": {"lanes": [[1, 2]]},
        });
        assert_eq!(parts(&before, &before), Vec::<String>::new());
        let mut after = before.clone();
        after["rules"][0]["margin"] = json!("0.12 kPa");
        assert_eq!(parts(&before, &after), ["the rules with their margins"]);
        after["brief_reasons"][0] = json!("two");
        after["reasons"][0] = json!("two");
        after["findings"] = json!([]);
        after["picture"]["lanes"][0][1] = json!(2.5);
        after["new_part"] = json!(1);
        let all = [
            "the reasons",
            "the findings",
            "the new part",
            "the curves",
            "the rules with their margins",
        ];
        assert_eq!(parts(&before, &after), all);
    }
}
