//! What an act takes: the one table of the fields that each form may send.
//!
//! The guard compares every form with its line here before any handler sees it. A field that the act does not have is
//! refused, so that nobody writes through one form what belongs to another: a physician who sends a `comment` with an
//! interpretation is not the author of the physiologist's words. A handler can read no field that is not listed.

use std::sync::LazyLock;

use engine::notes::diary::QUESTIONS;

use store::lending::setting::DeskSettings;

use crate::typed::Typed;

/// The desk's settings are a field each.
static DESK: LazyLock<Vec<String>> =
    LazyLock::new(|| match serde_json::to_value(DeskSettings::default()) {
        Ok(serde_json::Value::Object(all)) => all.into_iter().map(|(key, _)| key).collect(),
        _ => Vec::new(),
    });

/// Sent with every form: the proof that it came from a page of this server.
const PROOF: &str = "csrf";

/// A form that only asks: nothing but the proof.
const NOTHING: &[&str] = &[];
const SEEN: &[&str] = &["seen", "answer"];
const REASON: &[&str] = &["reason"];
const JUDGE: &[&str] = &["seen", "channel", "from", "until", "believe", "reason", "answer"];
const NAMED: &[&str] = &["seen", "entry", "reason", "answer"];
const MARK: &[&str] = &["seen", "kind", "at", "until", "text", "answer"];
const MOVE: &[&str] = &["seen", "entry", "at", "until", "answer"];
const REMOVE: &[&str] = &["seen", "entry", "answer"];
const GAS: &[&str] = &["seen", "at", "pco2", "unit", "beside", "answer"];
const CHECK: &[&str] = &["seen", "check"];
const DIARY: &[&str] = &["seen", "diary"];
const PERSON: &[&str] =
    &["seen", "family", "given", "born_on", "mrn", "nhs_number", "telephone", "address", "needs"];

/// Every act and its fields. One that ends in `*` stands for all that begin so.
pub const FIELDS: &[(&str, &[&[&str]])] = &[
    ("/login", &[&["login", "password", "then", "resend", "kept_for", "kept.*"]]),
    ("/session/again", &[&["login", "password"]]),
    ("/first/{token}", &[&["new", "repeat"]]),
    ("/logout", &[NOTHING]),
    ("/session/stay", &[NOTHING]),
    ("/session/elsewhere", &[NOTHING]),
    ("/links/{id}", &[&["seen", "asked", "password"]]),
    ("/scan", &[&["mark"]]),
    ("/password", &[&["old", "new", "repeat"]]),
    ("/people", &[&["find"]]),
    ("/people/new", &[PERSON]),
    ("/people/{id}/edit", &[PERSON, REASON]),
    ("/people/{id}/void", &[&["same_as"], REASON]),
    ("/people/{id}/restore", &[REASON]),
    (
        "/people/{id}/refer",
        &[&["question", "asked_by", "received_on", "words", "support", "urgency"]],
    ),
    ("/studies/{id}/book", &[&["first_night_on", "nights", "monitor"]]),
    (
        "/loans/{id}/hand-out",
        &[&[
            "identified_by",
            "sensor_temp_c",
            "clock_ahead_s",
            "parts",
            "longest_hours",
            "takes_off",
            "carer",
            "burn_warning_told",
            "fitting_shown",
            "agreement_signed",
            "note",
        ]],
    ),
    (
        "/loans/{id}/take-back",
        &[&["place", "skin", "condition", "missing", "clock_ahead_s", "note"]],
    ),
    ("/loans/{id}/set-aside", &[NOTHING]),
    ("/loans/{id}/exchange", &[NOTHING]),
    ("/loans/{id}/cancel", &[REASON]),
    ("/loans/{id}/extend", &[&["more"]]),
    ("/loans/{id}/chase", &[&["how", "outcome"]]),
    ("/loans/{id}/give-up", &[REASON]),
    ("/loans/{id}/diary", &[&["night_on"]]),
    ("/receive", &[&["file", "monitor", "ask"]]),
    ("/receive/columns", &[&["held", "c-*", "time", "written", "day", "begins", "as_it_is"]]),
    ("/nights/{id}/settle", &[&["loan", "find", "found"], REASON]),
    ("/nights/{id}/aside", &[REASON]),
    ("/nights/{id}/untie", &[REASON]),
    ("/nights/{id}/replace", &[&["old"], REASON]),
    ("/nights/{id}/score", &[NOTHING]),
    ("/nights/{id}/take-check", &[CHECK]),
    ("/nights/{id}/drop-check", &[CHECK]),
    ("/nights/{id}/take-diary", &[DIARY]),
    ("/nights/{id}/leave-diary", &[DIARY, REASON]),
    ("/ties/{id}/confirm", &[REASON]),
    ("/ties/{id}/decline", &[REASON]),
    ("/checks/{id}/void", &[REASON]),
    ("/monitors/new", &[&["serial", "kind", "value", "bought_on", "firmware"], SERVICE]),
    ("/monitors/{id}/to-cleaning", &[&["without_night"]]),
    ("/monitors/{id}/clean", &[&["method", "wiped"]]),
    (
        "/monitors/{id}/check",
        &[&[
            "made",
            "pressure_kpa",
            "expected_kpa",
            "observed_kpa",
            "clock_ahead_s",
            "parts",
            "passed",
            "note",
        ]],
    ),
    ("/monitors/{id}/membrane", &[&["lot"]]),
    ("/monitors/{id}/gas", &[&["lot"]]),
    ("/monitors/{id}/serviced", &[SERVICE]),
    ("/monitors/{id}/move", &[&["step"], REASON]),
    ("/lots", &[&["kind", "lot", "expires_on", "received", "co2_percent"]]),
    ("/lots/{id}/close", &[REASON]),
    ("/nights/{id}/judge", &[JUDGE]),
    ("/nights/{id}/reason", &[NAMED]),
    ("/nights/{id}/mark", &[MARK]),
    ("/nights/{id}/move", &[MOVE]),
    ("/nights/{id}/remove", &[REMOVE]),
    ("/nights/{id}/gas", &[GAS]),
    ("/nights/{id}/question", &[SEEN, &["question"]]),
    ("/nights/{id}/criteria", &[SEEN, &["criteria"]]),
    ("/nights/{id}/undo", &[SEEN]),
    ("/nights/{id}/redo", &[SEEN]),
    ("/nights/{id}/repeat", &[&["seen", "first_night_on", "nights"], REASON]),
    // The form that will be signed, sent to be looked at; it writes nothing.
    ("/nights/{id}/report/preview", &[SIGNED, &["comment", "interpretation"]]),
    ("/nights/{id}/sign", &[SIGNED, &["comment"]]),
    ("/nights/{id}/interpret", &[SIGNED, &["interpretation"]]),
    ("/nights/{id}/reopen", &[&["seen", "password"], REASON]),
    ("/nights/{id}/withdraw", &[&["seen", "password"], REASON]),
    ("/agreement/draw", &[&["asked", "from", "to", "seed", "night"]]),
    ("/second/{id}/begin", &[NOTHING]),
    ("/second/{id}/judge", &[JUDGE]),
    ("/second/{id}/reason", &[NAMED]),
    ("/second/{id}/mark", &[MARK]),
    ("/second/{id}/move", &[MOVE]),
    ("/second/{id}/remove", &[REMOVE]),
    ("/second/{id}/gas", &[GAS]),
    ("/second/{id}/undo", &[SEEN]),
    ("/second/{id}/redo", &[SEEN]),
    ("/second/{id}/finish", &[&["seen", "sure"]]),
    ("/second/{id}/withdraw", &[&["seen"], REASON]),
    ("/criteria", &[&["name", "base"]]),
    (
        "/criteria/{name}/draft",
        &[&[
            "act",
            "version",
            "base",
            "text",
            "seen",
            "title",
            "own_rules",
            "copy",
            "rule",
            "v-*",
            "s-*",
            "need-*",
        ]],
    ),
    ("/criteria/{name}/rerun", &[&["stop", "days", "most", "which"]]),
    ("/criteria/{name}/adopt", &[&["seen", "unrun"], REASON]),
    ("/accounts/new", &[&["login", "name", "role"]]),
    ("/accounts/{id}", &[&["seen", "name", "role"]]),
    ("/accounts/{id}/link", &[NOTHING]),
    ("/accounts/{id}/close", &[&["because"]]),
    ("/retention/{id}/hold", &[REASON]),
    ("/retention/{id}/release", &[REASON]),
    ("/retention/{id}/access", &[REASON]),
    ("/retention/{id}/destroy", &[&["certificate"], REASON]),
    ("/settings/{name}", &[&["seen", "value"]]),
];

const SERVICE: &[&str] = &["service_due_on", "electrical_due_on"];
const SIGNED: &[&str] = &["seen", "shown", "changed", "password"];

/// Whether an act has a field of this name.
pub fn takes(path: &str, name: &str) -> bool {
    let listed = FIELDS.iter().find(|(of, _)| *of == path);
    let Some((_, groups)) = listed else { return false };
    let named = |known: &&str| match known.strip_suffix('*') {
        Some(begins) => name.starts_with(begins),
        None => *known == name,
    };
    name == PROOF || groups.iter().any(|group| group.iter().any(named)) || {
        match path {
            "/loans/{id}/diary" => QUESTIONS.iter().any(|question| question.key == name),
            "/settings/{name}" => DESK.iter().any(|key| key == name),
            _ => false,
        }
    }
}

/// The fields a form sent that its act does not have.
pub(crate) fn foreign<'a>(path: &str, typed: &'a Typed) -> Vec<&'a str> {
    let names = typed.fields().iter().map(|(name, _)| name.as_str());
    let mut foreign: Vec<&str> = names.filter(|name| !takes(path, name)).collect();
    foreign.sort_unstable();
    foreign.dedup();
    foreign
}
