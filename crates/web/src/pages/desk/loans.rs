//! Loans: booking, handing out, taking back, and everything between.

use askama::Template;
use axum::extract::Path;
use serde_json::json;
use store::error::Result;
use store::error::StoreError;
use store::lending::loan::IDENTIFIERS;
use store::lending::loan::LoanForm;
use store::lending::setting::DeskSettings;
use store::record::tables::HandOut;
use store::record::tables::Loan;
use store::record::tables::Monitor;
use store::record::tables::Movement;
use store::record::tables::Person;
use store::record::tables::Study;
use store::record::tables::TakeBack;
use store::text;
use store::when;
use store::words::Condition;
use store::words::Contact;
use store::words::LoanStatus;
use store::words::MonitorStatus;
use store::words::Skin;

use super::Act;
use super::Titled;
use super::calendar;
use super::calendar::Night;
use super::nights::NightTable;
use super::nights::Of;
use super::papers;
use super::refill;
use super::rows::list;
use super::rows::nights;
use super::rows::parts;
use super::rows::step;
use crate::access::Right;
use crate::form::Field;
use crate::form::Form;
use crate::mark::Mark;
use crate::page::Answer;
use crate::page::Trouble;
use crate::typed::Typed;
use crate::visit::Visit;

const AT: &[(&str, &str)] = &[
    ("nights_wrong", "nights"),
    ("identity_unsure", "identified_by"),
    ("warning_not_told", "burn_warning_told"),
    ("fitting_not_shown", "fitting_shown"),
    ("agreement_missing", "agreement_signed"),
    ("parts_missing", "parts"),
    ("place_missing", "place"),
    ("reason_missing", "reason"),
    ("outcome_missing", "outcome"),
    ("hours_missing", "longest_hours"),
    ("hours_wrong", "longest_hours"),
    ("nobody_takes_it_off", "takes_off"),
];

#[derive(Debug, Template)]
#[template(path = "desk/free.html")]
struct Free {
    nights: Vec<Night>,
}

#[derive(Debug, Template)]
#[template(path = "desk/loan.html")]
struct One {
    name: String,
    mark: Mark,
    next: String,
    person: i64,
    person_name: String,
    born: String,
    monitor: i64,
    monitor_name: String,
    monitor_mark: Mark,
    facts: Vec<(&'static str, String)>,
    links: Vec<(String, &'static str)>,
    printed: Option<Printed>,
    acts: Vec<Act>,
    nights: NightTable,
    chases: Vec<String>,
    happened: Vec<String>,
}

/// The fields that the papers of a loan are printed with.
#[derive(Debug)]
struct Printed {
    id: i64,
    hours: String,
    from: String,
}

/// A loan with everything its pages show.
struct Whole {
    loan: Loan,
    person: Person,
    monitor: Monitor,
    desk: DeskSettings,
}

async fn whole(visit: &Visit, id: i64) -> Result<Whole> {
    let mut conn = visit.app.store().read().await?;
    let loan: Loan = conn.get(id).await?;
    Ok(Whole {
        person: conn.get(loan.person).await?,
        monitor: conn.get(loan.monitor).await?,
        desk: conn.desk_settings().await?,
        loan,
    })
}

impl Whole {
    fn nights(&self) -> String {
        nights(&self.loan.first_night_on, self.loan.nights)
    }
}

// ---- Booking ---------------------------------------------------------------------------------------

async fn book_page(
    visit: &Visit,
    id: i64,
    typed: Option<&Typed>,
    error: Option<StoreError>,
) -> Answer {
    let store = visit.app.store();
    let today = when::local_date(store.now(), &visit.department.zone);
    let mut conn = store.read().await?;
    let study: Study = conn.get(id).await?;
    let person: Person = conn.get(study.person).await?;
    let monitors = conn.monitors_to_book().await?;
    let free =
        Free { nights: calendar::nights(&conn.calendar(today, 14, store.now()).await?, today) };
    let mut form = book_form(visit, &study, &monitors, &today.to_string());
    let asked = typed.is_some();
    if let Some(typed) = typed {
        form = form.filled(typed).checked();
    }
    if let Some(error) = error {
        form.refused(error, &[("nights_wrong", "nights"), ("nights_past", "first_night_on")])?;
    }
    let mut page = Titled::new(&format!("Book a monitor for {}", person.listed()), "", form);
    page.after = free.render()?;
    if asked { visit.again("Book a monitor", &page) } else { visit.page("Book a monitor", &page) }
}

fn book_form(visit: &Visit, study: &Study, monitors: &[Monitor], today: &str) -> Form {
    let mut of = vec![(String::new(), "the one that rested longest".to_owned())];
    of.extend(
        monitors.iter().map(|one| (one.id.to_string(), format!("{} ({})", one.mark, one.status))),
    );
    visit
        .form(format!("/studies/{}/book", study.id), "Book")
        .field(
            Field::date("first_night_on", "First night")
                .hint("The evening on which the sensor is put on.")
                .needed()
                .value(today)
                .with("min", today),
        )
        .field(Field::number("nights", "How many nights", "1").needed().value("1").with("min", "1"))
        .field(Field::menu("monitor", "Monitor", of))
        .back(format!("/people/{}", study.person), "Not now")
}

/// `GET /studies/{id}/book`.
pub(crate) async fn booking(visit: Visit, Path(id): Path<i64>) -> Answer {
    book_page(&visit, id, None, None).await
}

/// `POST /studies/{id}/book`.
pub(crate) async fn book(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let (Some(first_night_on), Some(nights)) =
        (when::date(typed.get("first_night_on")), typed.number("nights"))
    else {
        return book_page(&visit, id, Some(&typed), None).await;
    };
    let form = LoanForm {
        study: id,
        first_night_on,
        nights,
        monitor: typed.number("monitor"),
        repeats_night: None,
    };
    match visit.app.store().book(&visit.author(), form).await {
        Ok(loan) => Ok(visit.done("Booked.", &format!("/loans/{}", loan.id))),
        Err(error) => book_page(&visit, id, Some(&typed), Some(error)).await,
    }
}

// ---- One loan --------------------------------------------------------------------------------------

/// `GET /loans/{id}`.
pub(crate) async fn loan(visit: Visit, Path(id): Path<i64>) -> Answer {
    let page = one(&visit, id, None).await?;
    visit.page(&format!("Loan {}", page.name), &page)
}

/// The page again, with the act that was refused.
async fn again(visit: &Visit, id: i64, act: &str, typed: &Typed, error: StoreError) -> Answer {
    let page = one(visit, id, Some((act, typed, error))).await?;
    visit.again(&format!("Loan {}", page.name), &page)
}

async fn one(
    visit: &Visit,
    id: i64,
    refused: Option<(&str, &Typed, StoreError)>,
) -> Result<One, Trouble> {
    let mut of = whole(visit, id).await?;
    let store = visit.app.store();
    let mut conn = store.read().await?;
    let moves = conn.movements(id).await?;
    let mut chases = conn.chases(id).await?;
    chases.reverse();
    // Who reads a night blind is not told why somebody else had it repeated.
    let blind = conn.blind_nights(&visit.author().login).await?;
    if of.loan.repeats_night.is_some_and(|night| blind.contains(&night)) {
        of.loan.repeats_because = None;
    }
    let nights =
        NightTable::of(visit, &mut conn, Of::Loan(id), "No night of this loan is in.").await?;
    let skin = conn.skin_of(id).await?;
    drop(conn);
    visit.looks(format!("loan {id}"), Some(of.loan.person), json!(null));
    let lends = visit.may(Right::Lend);
    let written_to = store::lending::desk::was_written_to(&of.loan, &chases);
    let mut acts = if lends { acts(visit, &of) } else { Vec::new() };
    if let Some((name, typed, error)) = refused {
        refill(&mut acts, name, typed, error, AT)?;
    }
    Ok(One {
        name: of.loan.mark.clone(),
        mark: of.loan.status.into(),
        next: next(visit, &of),
        person: of.person.id,
        person_name: of.person.listed(),
        born: of.person.born_on.clone(),
        monitor: of.monitor.id,
        monitor_name: of.monitor.mark.clone(),
        monitor_mark: of.monitor.status.into(),
        facts: facts(visit, &of, skin),
        links: if lends { links(&of, late(visit, &of), written_to) } else { Vec::new() },
        printed: printed(&of).filter(|_| lends),
        acts,
        nights,
        chases: chases
            .iter()
            .map(|one| {
                format!("{} {} by {}: {}", visit.local(one.at), one.how, one.who, one.outcome)
            })
            .collect(),
        happened: happened(visit, &of, &moves),
    })
}

/// What to do next, in one sentence.
fn next(visit: &Visit, of: &Whole) -> String {
    let now = visit.app.store().now();
    match of.loan.status {
        LoanStatus::Booked => format!("Hand out for {}.", of.nights()),
        LoanStatus::Out => match store::lending::desk::rung(of.loan.due_at, now, &of.desk) {
            None => format!("Due back {}.", visit.local(of.loan.due_at)),
            Some(rung) => crate::form::sentence(rung.says()),
        },
        LoanStatus::Back
            if of.monitor.status == MonitorStatus::Back && of.monitor.loan == Some(of.loan.id) =>
        {
            "Take the night off the monitor, then send it to cleaning.".to_owned()
        }
        LoanStatus::Lost => {
            "Given up as lost. It can be taken back when somebody brings it.".to_owned()
        }
        LoanStatus::Back | LoanStatus::Cancelled => String::new(),
    }
}

fn facts(visit: &Visit, of: &Whole, skin: Vec<(String, String)>) -> Vec<(&'static str, String)> {
    let loan = &of.loan;
    let at = |at: Option<i64>, who: &Option<String>| {
        Some(format!("{} by {}", visit.local(at?), who.as_deref().unwrap_or("?")))
    };
    let back = loan.back.0.as_ref();
    let all = [
        ("Nights", Some(of.nights())),
        ("Due back", Some(visit.local(loan.due_at))),
        ("Booked", Some(format!("{} by {}", visit.local(loan.booked_at), loan.booked_by))),
        ("Handed out", at(loan.out_at, &loan.out_by)),
        (
            "At one place",
            loan.out.0.as_ref().and_then(|out| Some(format!("at most {}", worn(out.longest_min?)))),
        ),
        ("Taken off by", loan.out.0.as_ref().and_then(taken_off_by)),
        (
            "Sensor",
            loan.out
                .0
                .as_ref()
                .and_then(|out| Some(format!("set to {} °C", out.sensor_temp_c.as_ref()?))),
        ),
        ("Taken back", at(loan.back_at, &loan.back_by)),
        ("Handed in at", back.map(|back| back.place.clone())),
        ("Skin when it came back", back.map(|back| back.skin.to_string())),
        ("Skin by the diary", (!skin.is_empty()).then(|| told(&skin))),
        ("Condition", back.map(|back| back.condition.to_string())),
        (
            "Missing parts",
            back.filter(|back| !back.missing.is_empty()).map(|back| back.missing.join(", ")),
        ),
        ("Remark", back.and_then(|back| back.note.clone())),
        ("Because", loan.because.clone()),
        ("Repeats a night", loan.repeats_because.clone()),
    ];
    all.into_iter().filter_map(|(label, fact)| Some((label, fact?))).collect()
}

/// What diaries tell of the skin, in the patient's words.
fn told(skin: &[(String, String)]) -> String {
    let one = |(night, says): &(String, String)| format!("night of {night}: {says}");
    skin.iter().map(one).collect::<Vec<_>>().join("; ")
}

/// Minutes at one place, in words.
fn worn(minutes: i64) -> String {
    match (minutes / 60, minutes % 60) {
        (hours, 0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}

/// Who takes the sensor off when it is too hot; loans made before it was asked say nothing.
fn taken_off_by(out: &HandOut) -> Option<String> {
    match &out.carer {
        Some(carer) => Some(format!("{carer}, who stays the night")),
        None => out.takes_off.then(|| "the patient".to_owned()),
    }
}

fn links(of: &Whole, late: bool, written_to: bool) -> Vec<(String, &'static str)> {
    let id = of.loan.id;
    let mut all = Vec::new();
    match of.loan.status {
        LoanStatus::Booked => all.push((format!("/loans/{id}/hand-out"), "Hand out")),
        LoanStatus::Out | LoanStatus::Lost => {
            all.push((format!("/loans/{id}/take-back"), "Take back"));
        }
        LoanStatus::Back => return vec![(format!("/loans/{id}/diary"), "Diary")],
        LoanStatus::Cancelled => return all,
    }
    if late {
        all.push((format!("/loans/{id}/letter.pdf?letter=overdue"), "First reminder (PDF)"));
    }
    if late && written_to {
        all.push((format!("/loans/{id}/letter.pdf?letter=overdue-again"), "Second reminder (PDF)"));
    }
    if of.loan.repeats_night.is_some() && of.loan.status == LoanStatus::Booked {
        all.push((
            format!("/loans/{id}/letter.pdf?letter=repeat"),
            "Letter about another night (PDF)",
        ));
    }
    all
}

/// What the papers of a loan are printed with, where they are printed at all.
fn printed(of: &Whole) -> Option<Printed> {
    if !matches!(of.loan.status, LoanStatus::Booked | LoanStatus::Out | LoanStatus::Lost) {
        return None;
    }
    let told = of.loan.out.0.as_ref().and_then(|out| out.longest_min);
    let minutes = told.or(of.desk.longest_min());
    Some(Printed {
        id: of.loan.id,
        hours: minutes.map(hours).unwrap_or_default(),
        from: of.desk.put_on_from().strftime("%H:%M").to_string(),
    })
}

/// Minutes as hours in a field, without a rest of noughts.
fn hours(minutes: i64) -> String {
    let text = format!("{}.{:02}", minutes / 60, minutes % 60 * 100 / 60);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Whether its time has passed.
fn late(visit: &Visit, of: &Whole) -> bool {
    store::lending::desk::is_late(&of.loan, visit.app.store().now(), &of.desk)
}

fn acts(visit: &Visit, of: &Whole) -> Vec<Act> {
    let id = of.loan.id;
    let (booked, out) = (of.loan.status == LoanStatus::Booked, of.loan.status == LoanStatus::Out);
    let form = |path: &str, button: &str| visit.form(format!("/loans/{id}/{path}"), button);
    let reason = |hint: &str| Field::text("reason", "Why").hint(hint).needed();
    let contacts = Contact::choices();
    let late = late(visit, of);
    let mut all = Vec::new();
    if booked && of.monitor.status == MonitorStatus::Ready {
        all.push(Act::new("set-aside", "Set the monitor aside", form("set-aside", "Set aside")));
    }
    if booked {
        all.push(Act::new(
            "exchange",
            "Give another monitor",
            form("exchange", "Give the one that rested longest"),
        ));
        all.push(Act::new(
            "cancel",
            "Cancel this loan",
            form("cancel", "Cancel the loan").field(reason("")).grave(),
        ));
    }
    if out {
        let how = form("chase", "Write it down")
            .field(Field::menu("how", "How", contacts).needed())
            .field(
                Field::text("outcome", "What was agreed")
                    .hint("In a few words. No findings.")
                    .needed(),
            );
        all.push(Act { open: late, ..Act::new("chase", "A word with the borrower", how) });
        all.push(Act::new(
            "give-up",
            "It will not come back",
            form("give-up", "Give it up as lost")
                .field(reason("It can still be taken back when somebody brings it."))
                .grave(),
        ));
    }
    if booked || out {
        let more =
            Field::number("more", "How many more nights", "1").needed().value("1").with("min", "1");
        all.push(Act::new("extend", "Add nights", form("extend", "Add nights").field(more)));
    }
    all
}

fn happened(visit: &Visit, of: &Whole, moves: &[Movement]) -> Vec<String> {
    let booked = format!("{} booked by {}", visit.local(of.loan.booked_at), of.loan.booked_by);
    std::iter::once(booked).chain(moves.iter().map(|one| step(visit, one))).collect()
}

/// `POST /loans/{id}/set-aside`.
pub(crate) async fn set_aside(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let done = visit.app.store().set_aside(&visit.author(), id).await;
    finish(&visit, id, "set-aside", &typed, done, "Set aside.").await
}

/// `POST /loans/{id}/exchange`.
pub(crate) async fn exchange(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let done = visit.app.store().exchange_monitor(&visit.author(), id, None).await;
    finish(&visit, id, "exchange", &typed, done, "Another monitor is promised.").await
}

/// `POST /loans/{id}/cancel`.
pub(crate) async fn cancel(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let done = visit.app.store().cancel(&visit.author(), id, typed.get("reason")).await;
    finish(&visit, id, "cancel", &typed, done, "Cancelled.").await
}

/// `POST /loans/{id}/extend`.
pub(crate) async fn extend(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let before = whole(&visit, id).await?;
    let done =
        visit.app.store().extend(&visit.author(), id, typed.number("more").unwrap_or(0)).await;
    // The leaflet in the borrower's hand still says the old day.
    let says = match (&done, before.loan.status) {
        (Ok(loan), LoanStatus::Out) => format!(
            "Nights added: due back {}. The leaflet they hold says {}; tell them, and write it down.",
            visit.local(loan.due_at),
            visit.local(before.loan.due_at)
        ),
        _ => "Nights added.".to_owned(),
    };
    finish(&visit, id, "extend", &typed, done, &says).await
}

/// `POST /loans/{id}/chase`.
pub(crate) async fn chase(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let how = Contact::read(typed.get("how")).unwrap_or(Contact::Telephone);
    let done = visit.app.store().chase(&visit.author(), id, how, typed.get("outcome")).await;
    finish(&visit, id, "chase", &typed, done, "Written down.").await
}

/// `POST /loans/{id}/give-up`.
pub(crate) async fn give_up(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let done = visit.app.store().give_up(&visit.author(), id, typed.get("reason")).await;
    finish(&visit, id, "give-up", &typed, done, "Given up as lost.").await
}

async fn finish<T>(
    visit: &Visit,
    id: i64,
    act: &str,
    typed: &Typed,
    done: Result<T>,
    says: &str,
) -> Answer {
    match done {
        Ok(_) => Ok(visit.done(says, &format!("/loans/{id}"))),
        Err(error) => again(visit, id, act, typed, error).await,
    }
}

// ---- Handing out -----------------------------------------------------------------------------------

fn hand_out_form(visit: &Visit, of: &Whole) -> Form {
    let known = |id: &str| match id {
        "nhs_number" => of.person.nhs_number.is_some(),
        "address" => of.person.address.is_some(),
        _ => true,
    };
    let value = |id: &str| match id {
        "name" => format!("{} {}", of.person.given, of.person.family),
        "born_on" => of.person.born_on.clone(),
        "nhs_number" => of.person.nhs_number.clone().unwrap_or_default(),
        "mrn" => of.person.mrn.clone(),
        _ => of
            .person
            .address
            .as_deref()
            .and_then(|lines| lines.lines().next())
            .unwrap_or_default()
            .to_owned(),
    };
    let identifiers = IDENTIFIERS
        .iter()
        .filter(|(id, _)| known(id))
        .map(|(id, says)| ((*id).to_owned(), format!("{says}: {}", value(id))))
        .collect();
    visit
        .form(format!("/loans/{}/hand-out", of.loan.id), "Hand out")
        .field(Field::some("identified_by", "Who stands here?", identifiers).hint("Ask, do not read out. Tick two that agree with the record.").needed())
        .field(Field::text("sensor_temp_c", "Sensor temperature set, °C").most(text::MARK))
        .field(Field::number("clock_ahead_s", "Monitor's clock ahead of the wall clock, s", "1").hint("0 when they agree, minus when it is behind."))
        .field(Field::some("parts", "In the bag", parts(&of.desk)).needed())
        .field(longest_hours(of))
        .field(Field::one("takes_off", "If it is too hot, who takes it off?", takes_off()).hint("Ask: can you feel heat on that ear, call out, and take the clip off by yourself? A small child cannot.").needed())
        .field(Field::text("carer", "Name of the carer, where one is needed").hint("Awake to the alarm, and in the house all night."))
        .field(Field::tick("burn_warning_told", "Told: the sensor is warm and can burn. An alarm is set, and it comes off when the alarm rings. It comes off at once, and stays off, when the skin hurts, is sore or blisters.").needed())
        .field(Field::tick("fitting_shown", "Fitting was shown, and done once by the borrower.").needed())
        .field(Field::tick("agreement_signed", "The borrower has signed the hand-out sheet.").needed())
        .field(Field::text("note", "Remark"))
        .back(format!("/loans/{}", of.loan.id), "Not now")
}

/// How long the sensor may stay at one place: asked where the department has set no figure, and shorter where this
/// sensor is hotter or this skin more tender.
fn longest_hours(of: &Whole) -> Field {
    let field =
        Field::number("longest_hours", "At most so long at one place, hours", "any").needed();
    match of.desk.longest_hours {
        Some(hours) => field
            .value(hours.to_string())
            .with("max", hours.to_string())
            .hint("Fewer for a hotter sensor, a small child or tender skin. Print the leaflet for the same hours."),
        None => field.hint("By the maker's instructions for this monitor, its temperature and this skin. No figure is set under Settings, the desk."),
    }
}

fn takes_off() -> Vec<(String, String)> {
    let of = [
        ("patient", "The patient: feels heat there, can call out and can take it off"),
        ("carer", "A carer, who stays all night and will"),
    ];
    of.map(|(value, words)| (value.to_owned(), words.to_owned())).into()
}

/// The form, under what keeps the monitor in: the desk sees it before it fills anything in.
async fn hand_out_page(visit: &Visit, of: &Whole, form: Form) -> Result<Titled, Trouble> {
    let store = visit.app.store();
    let keeps_in =
        store.read().await?.keeps_in(&of.monitor, &of.loan, &of.desk, store.now()).await?;
    let mut words = format!(
        "{} to {}, for {}. Due back {}.",
        of.monitor.mark,
        of.person.listed(),
        of.nights(),
        visit.local(of.loan.due_at)
    );
    if let Some(first) = keeps_in.first() {
        let says = crate::form::sentence(&first.says);
        words = format!("{words} It cannot go out yet: {says}");
    }
    Ok(Titled::new(&format!("Hand out {}", of.monitor.mark), &words, form))
}

/// `GET /loans/{id}/hand-out`.
pub(crate) async fn handing_out(visit: Visit, Path(id): Path<i64>) -> Answer {
    let of = whole(&visit, id).await?;
    let page = hand_out_page(&visit, &of, hand_out_form(&visit, &of)).await?;
    visit.page("Hand out", &page)
}

/// `POST /loans/{id}/hand-out`.
pub(crate) async fn hand_out(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let of = whole(&visit, id).await?;
    let filled = HandOut {
        identified_by: typed.all("identified_by"),
        parts: typed.all("parts"),
        fitting_shown: typed.ticked("fitting_shown"),
        burn_warning_told: typed.ticked("burn_warning_told"),
        agreement_signed: typed.ticked("agreement_signed"),
        sensor_temp_c: typed.option("sensor_temp_c"),
        clock_ahead_s: typed.number("clock_ahead_s"),
        leaflet: None,
        note: typed.option("note"),
        longest_min: typed.get("longest_hours").replace(',', ".").parse().ok().map(papers::minutes),
        takes_off: typed.get("takes_off") == "patient",
        carer: typed.option("carer").filter(|_| typed.get("takes_off") == "carer"),
    };
    match visit.app.store().hand_out(&visit.author(), id, filled).await {
        Ok(loan) => {
            let says =
                format!("{} is out. Due back {}.", of.monitor.mark, visit.local(loan.due_at));
            Ok(visit.done(&says, &format!("/loans/{id}")))
        }
        Err(error) => {
            let mut form = hand_out_form(&visit, &of).filled(&typed);
            form.refused(error, AT)?;
            let page = hand_out_page(&visit, &of, form).await?;
            visit.again("Hand out", &page)
        }
    }
}

// ---- Taking back -----------------------------------------------------------------------------------

fn take_back_form(visit: &Visit, of: &Whole) -> Form {
    let skins = Skin::choices();
    let conditions = Condition::choices();
    visit
        .form(format!("/loans/{}/take-back", of.loan.id), "Take back")
        .field(Field::menu("place", "Handed in at", list(&of.desk.return_places)).needed())
        .field(
            Field::one("skin", "The skin under the sensor", skins)
                .hint("Ask whoever brings it. Sore or blistered skin is told to a physiologist.")
                .needed(),
        )
        .field(Field::one("condition", "Condition of the monitor", conditions).needed())
        .field(
            Field::some("missing", "Missing from the bag", parts(&of.desk))
                .hint("Tick what did not come back."),
        )
        .field(
            Field::number("clock_ahead_s", "Monitor's clock ahead of the wall clock, s", "1")
                .hint("Before it is set: the night is laid on the wall clock by it."),
        )
        .field(Field::text("note", "Remark"))
        .back(format!("/loans/{}", of.loan.id), "Not now")
}

fn take_back_page(visit: &Visit, of: &Whole, form: Form) -> Titled {
    let words = format!(
        "{} from {}. It was due {}.",
        of.monitor.mark,
        of.person.listed(),
        visit.local(of.loan.due_at)
    );
    Titled::new(&format!("Take back {}", of.monitor.mark), &words, form)
}

/// `GET /loans/{id}/take-back`.
pub(crate) async fn taking_back(visit: Visit, Path(id): Path<i64>) -> Answer {
    let of = whole(&visit, id).await?;
    let page = take_back_page(&visit, &of, take_back_form(&visit, &of));
    visit.page("Take back", &page)
}

/// `POST /loans/{id}/take-back`.
pub(crate) async fn take_back(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let of = whole(&visit, id).await?;
    let mut form = take_back_form(&visit, &of).filled(&typed).checked();
    if let (Some(skin), Some(condition), false) =
        (Skin::read(typed.get("skin")), Condition::read(typed.get("condition")), form.has_faults())
    {
        let filled = TakeBack {
            place: typed.get("place").to_owned(),
            condition,
            missing: typed.all("missing"),
            skin,
            clock_ahead_s: typed.number("clock_ahead_s"),
            note: typed.option("note"),
        };
        match visit.app.store().take_back(&visit.author(), id, filled).await {
            Ok(_) => {
                let told = matches!(skin, Skin::Sore | Skin::Blister);
                let says = if told {
                    "Taken back. Tell a physiologist about the skin."
                } else {
                    "Taken back."
                };
                return Ok(visit.done(says, &format!("/monitors/{}", of.monitor.id)));
            }
            Err(error) => form.refused(error, AT)?,
        }
    }
    visit.again("Take back", &take_back_page(&visit, &of, form))
}
