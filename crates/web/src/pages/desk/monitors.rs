//! Monitors: where they stand, their life, their cleaning and checks.

use askama::Template;
use axum::extract::Path;
use store::error::Refusal;
use store::error::Result;
use store::error::StoreError;
use store::lending::desk::History;
use store::lending::machine;
use store::lending::machine::Move;
use store::lending::monitor::CheckForm;
use store::lending::monitor::MonitorForm;
use store::lending::setting::DeskSettings;
use store::record::tables::Check;
use store::record::tables::Consumable;
use store::record::tables::Loan;
use store::record::tables::Monitor;
use store::when;
use store::words::CheckWhen;
use store::words::ConsumableKind;
use store::words::MonitorStatus;

use super::Act;
use super::Titled;
use super::refill;
use super::rows::LoanTable;
use super::rows::Offer;
use super::rows::list;
use super::rows::parts;
use super::rows::pounds;
use super::rows::step;
use crate::access::Right;
use crate::form::Field;
use crate::form::Form;
use crate::form::sentence;
use crate::mark::Mark;
use crate::page::Answer;
use crate::page::Trouble;
use crate::typed::Typed;
use crate::visit::Visit;

const AT: &[(&str, &str)] = &[
    ("serial_missing", "serial"),
    ("serial_taken", "serial"),
    ("night_not_in", "without_night"),
    ("not_wiped", "wiped"),
    ("gas_off", "observed_kpa"),
    ("gas_implausible", "expected_kpa"),
    ("shown_implausible", "observed_kpa"),
    ("expected_kpa", "expected_kpa"),
    ("observed_kpa", "observed_kpa"),
    ("pressure_kpa", "pressure_kpa"),
    ("clock_ahead_s", "clock_ahead_s"),
    ("pressure_implausible", "pressure_kpa"),
    ("gas_not_checked", "observed_kpa"),
    ("clock_wrong", "clock_ahead_s"),
    ("clock_not_compared", "clock_ahead_s"),
    ("parts_missing", "parts"),
    ("reason_missing", "reason"),
];

/// The latest checks, of which it is told what hangs on them.
const SHOWN: usize = 12;

/// Moves a person makes with a reason, with their words.
const MOVES: [(&str, Move, &str); 7] = [
    ("hold", Move::Hold, "hold it"),
    ("release", Move::Release, "release it, to be cleaned and checked"),
    ("send-away", Move::SendAway, "send it to repair or service"),
    ("come-back", Move::ComeBack, "it is back from repair or service"),
    ("find", Move::Find, "it was found"),
    ("give-up", Move::GiveUp, "it cannot be found"),
    ("retire", Move::Retire, "take it out of use"),
];

#[derive(Debug, Template)]
#[template(path = "desk/monitors.html")]
struct All {
    answer: String,
    monitors: Vec<Row>,
    may_keep: bool,
}

#[derive(Debug)]
struct Row {
    id: i64,
    name: String,
    serial: String,
    mark: Mark,
    because: String,
    loan: i64,
    loan_name: String,
    service: String,
    membrane: String,
    value: String,
}

#[derive(Debug, Template)]
#[template(path = "desk/monitor.html")]
struct One {
    id: i64,
    name: String,
    mark: Mark,
    next: &'static str,
    is_back: bool,
    facts: Vec<(&'static str, String)>,
    acts: Vec<Act>,
    may_keep: bool,
    loans: LoanTable,
    checks: Vec<CheckRow>,
    /// Number, and when, by whom and how.
    cleanings: Vec<(i64, String)>,
    happened: Vec<String>,
}

#[derive(Debug)]
struct CheckRow {
    when: String,
    who: String,
    expected: String,
    observed: String,
    pressure: String,
    clock: String,
    result: String,
    /// The nights that hang on it, a sentence each.
    nights: Vec<String>,
    /// To void it, for who may.
    void: Option<Form>,
}

/// `GET /monitors`.
pub(crate) async fn monitors(visit: Visit) -> Answer {
    let mut conn = visit.app.store().read().await?;
    let desk = conn.desk_settings().await?;
    let all = conn.monitors().await?;
    let loans = conn.loans_on_monitors().await?;
    let rows = all.iter().map(|monitor| row(monitor, &loans, &desk)).collect();
    let page =
        All { answer: answer(&all), monitors: rows, may_keep: visit.may(Right::KeepMonitors) };
    visit.page("Monitors", &page)
}

/// How many stand where, in the order of their life.
fn answer(all: &[Monitor]) -> String {
    let counts = MonitorStatus::ALL.iter().filter_map(|status| {
        let n = all.iter().filter(|monitor| monitor.status == *status).count();
        (n > 0).then(|| format!("{n} {status}"))
    });
    let counts: Vec<String> = counts.collect();
    if counts.is_empty() {
        "No monitor is recorded yet.".to_owned()
    } else {
        format!("{}.", counts.join(", "))
    }
}

fn row(monitor: &Monitor, loans: &[Loan], desk: &DeskSettings) -> Row {
    let loan = monitor.loan.and_then(|id| loans.iter().find(|loan| loan.id == id));
    Row {
        id: monitor.id,
        name: monitor.mark.clone(),
        serial: monitor.serial.clone(),
        mark: monitor.status.into(),
        because: monitor.because.clone().unwrap_or_default(),
        loan: loan.map_or(0, |loan| loan.id),
        loan_name: loan.map_or_else(String::new, |loan| loan.mark.clone()),
        service: monitor.service_due_on.clone().unwrap_or_else(|| "not recorded".to_owned()),
        membrane: membrane_until(monitor, desk),
        value: pounds(monitor.value_pence),
    }
}

fn membrane_until(monitor: &Monitor, desk: &DeskSettings) -> String {
    let on = monitor.membrane_on.as_deref().and_then(when::date);
    on.map_or_else(
        || "not recorded".to_owned(),
        |on| when::days_later(on, desk.membrane_days).to_string(),
    )
}

// ---- One monitor -----------------------------------------------------------------------------------

/// `GET /monitors/{id}`.
pub(crate) async fn monitor(visit: Visit, Path(id): Path<i64>) -> Answer {
    let page = one(&visit, id, None).await?;
    visit.page(&format!("Monitor {}", page.name), &page)
}

async fn one(
    visit: &Visit,
    id: i64,
    refused: Option<(&str, &Typed, StoreError)>,
) -> Result<One, Trouble> {
    let store = visit.app.store();
    let mut conn = store.read().await?;
    let history = conn.history(id, store.now()).await?;
    let desk = conn.desk_settings().await?;
    let mut checks = Vec::with_capacity(history.checks.len());
    for (at, check) in history.checks.iter().enumerate() {
        // What hangs on the older ones is in the audit; each is asked of the record.
        let nights = if at < SHOWN { conn.check_says(check).await? } else { Vec::new() };
        checks.push(check_row(visit, check, &nights));
    }
    let lots = conn.lots_for_monitors().await?;
    drop(conn);
    let may_keep = visit.may(Right::KeepMonitors);
    let mut acts = if may_keep { acts(visit, &history, &desk, &lots) } else { Vec::new() };
    if let Some((name, typed, error)) = refused {
        refill(&mut acts, name, typed, error, AT)?;
    }
    let monitor = &history.monitor;
    Ok(One {
        id,
        name: monitor.mark.clone(),
        mark: monitor.status.into(),
        next: next(monitor.status),
        is_back: monitor.status == MonitorStatus::Back,
        facts: facts(visit, &history, &desk),
        acts,
        may_keep,
        loans: LoanTable::new(visit, &history.loans, Offer::Stands, "It was never lent.", "Stands"),
        checks,
        cleanings: history
            .cleanings
            .iter()
            .filter(|one| one.loan.is_some())
            .map(|one| (one.id, format!("{} by {}: {}", visit.local(one.at), one.who, one.method)))
            .collect(),
        happened: history.movements.iter().map(|one| step(visit, one)).collect(),
    })
}

fn next(status: MonitorStatus) -> &'static str {
    match status {
        MonitorStatus::Back => "Take the night off it, then send it to cleaning.",
        MonitorStatus::ToClean => "Clean it, wipe its memory and record the cleaning.",
        MonitorStatus::ToCheck => "Check it with the gas and record the check.",
        MonitorStatus::Held => "It is held. Release it when what stood against it is mended.",
        MonitorStatus::Lost => "It is lost. Its last loan can still be taken back.",
        _ => "",
    }
}

fn facts(visit: &Visit, history: &History, desk: &DeskSettings) -> Vec<(&'static str, String)> {
    let monitor = &history.monitor;
    let kept = |text: &Option<String>| text.clone().unwrap_or_else(|| "not recorded".to_owned());
    let at = |at: Option<i64>| at.map_or_else(|| "never".to_owned(), |at| visit.local(at));
    let gas = history.gas.as_ref().map_or_else(|| "not recorded".to_owned(), gas_says);
    let all = [
        ("Because", monitor.because.clone().unwrap_or_default()),
        ("Serial number", monitor.serial.clone()),
        ("What it is", monitor.kind.clone()),
        ("Value", pounds(monitor.value_pence)),
        ("In use since", kept(&monitor.in_use_since_on)),
        ("Firmware", monitor.firmware.clone().unwrap_or_default()),
        ("Last cleaned", at(monitor.cleaned_at)),
        ("Last passed a check", at(monitor.checked_at)),
        ("Service due", kept(&monitor.service_due_on)),
        ("Electrical test due", kept(&monitor.electrical_due_on)),
        ("Membrane until", membrane_until(monitor, desk)),
        ("Calibration gas", gas),
    ];
    all.into_iter().filter(|(_, fact)| !fact.is_empty()).collect()
}

fn gas_says(gas: &Consumable) -> String {
    let until =
        gas.expires_on.as_ref().map_or_else(String::new, |until| format!(", until {until}"));
    let co2 = gas.co2_percent.map_or_else(String::new, |percent| format!(", {percent} % CO2"));
    format!("{}{co2}{until}", gas.lot)
}

fn check_row(visit: &Visit, check: &Check, nights: &[String]) -> CheckRow {
    let kpa = |value: Option<f64>, digits: usize| {
        value.map_or_else(String::new, |value| format!("{value:.digits$} kPa"))
    };
    let mut result = if check.passed { "passed".to_owned() } else { "did not pass".to_owned() };
    if let Some(note) = &check.note {
        result = format!("{result}: {note}");
    }
    if let Some(at) = check.voided_at {
        let (by, because) = (check.voided_by.as_deref(), check.voided_because.as_deref());
        result = format!(
            "{result}. Voided {} by {}: {}",
            visit.local(at),
            by.unwrap_or_default(),
            because.unwrap_or_default()
        );
    }
    let void = visit
        .form(format!("/checks/{}/void", check.id), "Void it")
        .field(Field::text("reason", "Why it is void").needed())
        .grave();
    let may_void = check.voided_at.is_none() && visit.may(Right::KeepMonitors);
    CheckRow {
        when: visit.local(check.at),
        who: check.who.clone(),
        expected: kpa(check.expected_kpa, 2),
        observed: kpa(check.observed_kpa, 2),
        pressure: kpa(check.pressure_kpa, 1),
        clock: check.clock_ahead_s.map_or_else(String::new, |ahead| format!("{ahead} s")),
        result,
        nights: nights.iter().map(|one| sentence(one)).collect(),
        void: may_void.then_some(void),
    }
}

// ---- What can be done with it ----------------------------------------------------------------------

fn acts(visit: &Visit, history: &History, desk: &DeskSettings, lots: &[Consumable]) -> Vec<Act> {
    let monitor = &history.monitor;
    let status = monitor.status;
    let form =
        |path: &str, button: &str| visit.form(format!("/monitors/{}/{path}", monitor.id), button);
    let mut all = Vec::new();
    if status == MonitorStatus::Back {
        let why = Field::text("without_night", "If there is no night: why")
            .hint("Leave it empty when its night is in the record.");
        all.push(Act {
            open: true,
            ..Act::new(
                "to-cleaning",
                "Send it to cleaning",
                form("to-cleaning", "To cleaning").field(why),
            )
        });
    }
    if status == MonitorStatus::ToClean {
        let cleaning = form("clean", "Record the cleaning")
            .field(Field::menu("method", "Cleaned by", list(&desk.cleaning)).needed())
            .field(
                Field::tick("wiped", "The last patient's data are wiped off the monitor.").needed(),
            );
        all.push(Act { open: true, ..Act::new("clean", "Clean it", cleaning) });
    }
    if matches!(status, MonitorStatus::ToCheck | MonitorStatus::Ready | MonitorStatus::Booked) {
        let check = check_form(form("check", "Record the check"), history, desk);
        all.push(Act {
            open: status == MonitorStatus::ToCheck,
            ..Act::new("check", "Check it", check)
        });
    }
    if !matches!(status, MonitorStatus::Out | MonitorStatus::Lost | MonitorStatus::Retired) {
        all.push(Act::new(
            "membrane",
            "Change its membrane",
            form("membrane", "Record a new membrane today").field(Field::menu(
                "lot",
                "From lot",
                of_kind(lots, ConsumableKind::Membrane),
            )),
        ));
        all.push(Act::new(
            "gas",
            "Connect another calibration gas",
            form("gas", "Record the gas")
                .field(Field::menu("lot", "Lot", of_kind(lots, ConsumableKind::Gas)).needed()),
        ));
        let service = form("serviced", "Record the days")
            .field(
                Field::date("service_due_on", "Service due next")
                    .hint("Leave it empty to keep the day."),
            )
            .field(
                Field::date("electrical_due_on", "Electrical safety test due next")
                    .hint("Leave it empty to keep the day."),
            );
        all.push(Act::new("serviced", "Record service or electrical test", service));
    }
    let offered: Vec<(String, String)> = MOVES
        .iter()
        .filter(|(_, step, _)| possible(status, *step))
        .map(|(id, _, says)| ((*id).to_owned(), (*says).to_owned()))
        .collect();
    if !offered.is_empty() {
        let moved = form("move", "Do it")
            .field(Field::one("step", "What", offered).needed())
            .field(Field::text("reason", "Why").needed())
            .grave();
        all.push(Act::new("move", "Hold, release, repair, lose or retire it", moved));
    }
    all
}

fn possible(status: MonitorStatus, step: Move) -> bool {
    // What is out is given up through its loan.
    machine::after(status, step).is_some()
        && !(status == MonitorStatus::Out && step == Move::GiveUp)
}

fn of_kind(lots: &[Consumable], kind: ConsumableKind) -> Vec<(String, String)> {
    lots.iter()
        .filter(|lot| lot.kind == kind)
        .map(|lot| (lot.id.to_string(), gas_says(lot)))
        .collect()
}

/// What a check cannot do without when the monitor is to go out again. A monitor that is not fit may show nothing.
const FIT: &str = "needed when it is fit";

/// What was typed for a number and is none.
fn no_numbers(typed: &Typed) -> Vec<Refusal> {
    let none = |name: &&'static str, whole: bool| {
        let text = typed.get(name).trim().replace(',', ".");
        let read = if whole {
            text.parse::<i64>().is_ok()
        } else {
            text.parse::<f64>().is_ok_and(f64::is_finite)
        };
        !text.is_empty() && !read
    };
    let kpa = ["expected_kpa", "observed_kpa", "pressure_kpa"];
    let wrong = kpa.into_iter().filter(|name| none(name, false));
    let wrong = wrong.chain(["clock_ahead_s"].into_iter().filter(|name| none(name, true)));
    wrong.map(|name| Refusal::new(name, "this is no number", "type it again")).collect()
}

fn check_form(form: Form, history: &History, desk: &DeskSettings) -> Form {
    let gas = history
        .gas
        .as_ref()
        .map_or_else(|| "No gas is recorded.".to_owned(), |gas| format!("Gas {}.", gas_says(gas)));
    let fit = vec![
        ("yes".to_owned(), "fit to go out".to_owned()),
        ("no".to_owned(), "not fit: hold it".to_owned()),
    ];
    form.field(Field::number("pressure_kpa", "Barometric pressure, kPa", "any"))
        .field(
            Field::number("expected_kpa", "CO2 the gas should give, kPa", "any").hint(gas).may(FIT),
        )
        .field(
            Field::number("observed_kpa", "CO2 the monitor shows, kPa", "any")
                .hint(format!("At most {} kPa apart.", desk.gas_limit_kpa))
                .may(FIT),
        )
        .field(
            Field::number("clock_ahead_s", "Its clock ahead of the wall clock, s", "1")
                .hint("0 when they agree, minus when it is behind.")
                .may(FIT),
        )
        .field(Field::some("parts", "In the bag", parts(desk)))
        .field(Field::one("passed", "It is", fit).needed())
        .field(Field::text("note", "Remark").may("needed when it is not fit"))
}

async fn finish(
    visit: &Visit,
    id: i64,
    act: &str,
    typed: &Typed,
    done: Result<Monitor>,
    says: &str,
) -> Answer {
    match done {
        Ok(monitor) => {
            Ok(visit.done(&format!("{says} It is {}.", monitor.status), &format!("/monitors/{id}")))
        }
        Err(error) => {
            let page = one(visit, id, Some((act, typed, error))).await?;
            visit.again(&format!("Monitor {}", page.name), &page)
        }
    }
}

/// `POST /monitors/{id}/to-cleaning`.
pub(crate) async fn to_cleaning(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let done = visit.app.store().to_cleaning(&visit.author(), id, typed.get("without_night")).await;
    finish(&visit, id, "to-cleaning", &typed, done, "Sent to cleaning.").await
}

/// `POST /monitors/{id}/clean`.
pub(crate) async fn clean(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let done = visit
        .app
        .store()
        .clean(&visit.author(), id, typed.get("method"), typed.ticked("wiped"))
        .await;
    finish(&visit, id, "clean", &typed, done, "Cleaning recorded.").await
}

/// `POST /monitors/{id}/check`.
pub(crate) async fn check(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let kpa = |name: &str| {
        typed.get(name).replace(',', ".").parse::<f64>().ok().filter(|value| value.is_finite())
    };
    let before = matches!(
        visit.app.store().read().await?.get::<Monitor>(id).await?.status,
        MonitorStatus::Ready | MonitorStatus::Booked
    );
    let form = CheckForm {
        made: if before { CheckWhen::Before } else { CheckWhen::After },
        expected_kpa: kpa("expected_kpa"),
        observed_kpa: kpa("observed_kpa"),
        pressure_kpa: kpa("pressure_kpa"),
        clock_ahead_s: typed.number("clock_ahead_s"),
        parts: typed.all("parts"),
        passed: typed.get("passed") == "yes",
        note: typed.get("note").to_owned(),
    };
    let wrong = no_numbers(&typed);
    let done = if wrong.is_empty() {
        visit.app.store().check_and_tell(&visit.author(), id, form).await
    } else {
        Err(StoreError::Refused(wrong))
    };
    let (done, told) = match done {
        Ok((monitor, told)) => (Ok(monitor), told),
        Err(error) => (Err(error), Vec::new()),
    };
    let said = std::iter::once("Check recorded.".to_owned());
    let said: Vec<String> = said.chain(told.iter().map(|one| sentence(one))).collect();
    finish(&visit, id, "check", &typed, done, &said.join(" ")).await
}

/// `POST /checks/{id}/void`.
pub(crate) async fn void(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let check = visit.app.store().void_check(&visit.author(), id, typed.get("reason")).await?;
    let says = "Voided. Nights that rested on it and nobody judged by hand are scored without it.";
    Ok(visit.done(says, &format!("/monitors/{}", check.monitor)))
}

/// `POST /monitors/{id}/membrane`.
pub(crate) async fn membrane(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let done = visit.app.store().change_membrane(&visit.author(), id, typed.number("lot")).await;
    finish(
        &visit,
        id,
        "membrane",
        &typed,
        done,
        "New membrane recorded; check it before it goes out.",
    )
    .await
}

/// `POST /monitors/{id}/gas`.
pub(crate) async fn gas(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let done =
        visit.app.store().connect_gas(&visit.author(), id, typed.number("lot").unwrap_or(0)).await;
    finish(&visit, id, "gas", &typed, done, "Gas recorded.").await
}

/// `POST /monitors/{id}/serviced`.
pub(crate) async fn serviced(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let done = visit
        .app
        .store()
        .serviced(&visit.author(), id, typed.get("service_due_on"), typed.get("electrical_due_on"))
        .await;
    finish(&visit, id, "serviced", &typed, done, "Recorded.").await
}

/// `POST /monitors/{id}/move`.
pub(crate) async fn moved(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let Some((_, step, _)) = MOVES.iter().find(|(id, _, _)| *id == typed.get("step")) else {
        return Err(Trouble::not_understood("No move was chosen."));
    };
    let done =
        visit.app.store().move_monitor(&visit.author(), id, *step, typed.get("reason")).await;
    finish(&visit, id, "move", &typed, done, "Done.").await
}

// ---- A new one -------------------------------------------------------------------------------------

fn new_form(visit: &Visit) -> Form {
    visit
        .form("/monitors/new", "Enter")
        .field(
            Field::text("serial", "Serial number")
                .of("monitor", "serial")
                .hint("As it stands on the monitor: its files carry it.")
                .needed(),
        )
        .field(Field::text("kind", "What it is").of("monitor", "kind").value("ear sensor monitor"))
        .field(Field::number("value", "What a new one costs, £", "1").with("min", "0"))
        .field(Field::date("bought_on", "Bought"))
        .field(Field::text("firmware", "Firmware").of("monitor", "firmware"))
        .field(Field::date("service_due_on", "Service due").needed())
        .field(Field::date("electrical_due_on", "Electrical safety test due").needed())
        .back("/monitors", "Not now")
}

/// `GET /monitors/new`.
pub(crate) async fn new(visit: Visit) -> Answer {
    let form = new_form(&visit);
    visit.page(
        "A new monitor",
        &Titled::new("A new monitor", "It begins with being cleaned and checked.", form),
    )
}

/// `POST /monitors/new`.
pub(crate) async fn enter(visit: Visit, typed: Typed) -> Answer {
    let mut form = new_form(&visit).filled(&typed).checked();
    if !form.has_faults() {
        let text = |name| typed.get(name).to_owned();
        let monitor = MonitorForm {
            serial: text("serial"),
            kind: text("kind"),
            value_pence: typed.number("value").unwrap_or(0).saturating_mul(100),
            bought_on: text("bought_on"),
            firmware: text("firmware"),
            service_due_on: text("service_due_on"),
            electrical_due_on: text("electrical_due_on"),
        };
        match visit.app.store().add_monitor(&visit.author(), monitor).await {
            Ok(monitor) => {
                return Ok(visit.done(
                    &format!("Entered as {}.", monitor.mark),
                    &format!("/monitors/{}", monitor.id),
                ));
            }
            Err(error) => form.refused(error, AT)?,
        }
    }
    visit.again("A new monitor", &Titled::new("A new monitor", "", form))
}
