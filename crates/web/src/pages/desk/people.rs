//! People: search, enter, correct, void; their referrals and loans.

use askama::Template;
use axum::extract::Path;
use serde_json::json;
use store::error::StoreError;
use store::people::person::PersonForm;
use store::people::person::ReferralForm;
use store::record::db::Conn;
use store::record::tables::Person;
use store::record::tables::Referral;
use store::record::tables::Study;
use store::text;
use store::words::StudyStatus;
use store::words::Urgency;

use super::Titled;
use super::nights::NightTable;
use super::nights::Of;
use super::rows::LoanTable;
use super::rows::Offer;
use crate::access::Right;
use crate::form::Field;
use crate::form::Form;
use crate::page::Answer;
use crate::typed::Typed;
use crate::visit::Visit;

/// Which refusal stands at which field.
const AT: &[(&str, &str)] = &[
    ("mrn_missing", "mrn"),
    ("family_missing", "family"),
    ("given_missing", "given"),
    ("nhs_number_wrong", "nhs_number"),
    ("born_wrong", "born_on"),
    ("reason_missing", "reason"),
    ("asked_by_missing", "asked_by"),
    ("received_wrong", "received_on"),
];

#[derive(Debug, Template)]
#[template(path = "desk/people.html")]
struct People {
    form: Form,
    says: Option<String>,
    found: Vec<Person>,
    may_lend: bool,
}

#[derive(Debug, Template)]
#[template(path = "desk/person.html")]
struct One {
    id: i64,
    name: String,
    voided: String,
    /// The right row of a void one: its number and words.
    right: Option<(i64, String)>,
    /// The void rows that point here.
    pointing: Vec<(i64, String)>,
    facts: Vec<(&'static str, String)>,
    studies: Vec<StudyRow>,
    nights: NightTable,
    loans: LoanTable,
    /// To void the row, or to take its void back; `None` when neither can be done.
    void: Option<Form>,
    may_lend: bool,
    may_compare: bool,
}

#[derive(Debug)]
struct StudyRow {
    id: i64,
    asked: String,
    question: String,
    words: String,
    urgency: Urgency,
    says: String,
    bookable: bool,
}

fn search_form(visit: &Visit) -> Form {
    let field = Field::text("find", "Name, hospital number or NHS number")
        .most(text::NAME)
        .needed()
        .first();
    visit.form("/people", "Search").field(field)
}

/// `GET /people`.
pub(crate) async fn people(visit: Visit) -> Answer {
    let page = People {
        form: search_form(&visit),
        says: None,
        found: Vec::new(),
        may_lend: visit.may(Right::Lend),
    };
    visit.page("People", &page)
}

/// `POST /people`: a search. It is sent as a form because names do not belong into addresses and logs.
pub(crate) async fn find(visit: Visit, typed: Typed) -> Answer {
    let form = search_form(&visit).filled(&typed).checked();
    let store = visit.app.store();
    let people = if form.has_faults() {
        Vec::new()
    } else {
        store.read().await?.find_people(typed.get("find")).await?
    };
    let ids: Vec<i64> = people.iter().map(|one| one.id).collect();
    visit.looks("people", None, json!({"found": ids}));
    let says = match people.len() {
        _ if form.has_faults() => None,
        0 => Some("Nobody found.".to_owned()),
        1 => Some("One person found.".to_owned()),
        50 => Some("The first 50 people found; type more of the name.".to_owned()),
        n => Some(format!("{n} people found.")),
    };
    visit.page("People", &People { form, says, found: people, may_lend: visit.may(Right::Lend) })
}

fn person_form(visit: &Visit, action: String, button: &str, over: Option<&Person>) -> Form {
    let of = |get: fn(&Person) -> Option<String>| over.and_then(get).unwrap_or_default();
    visit
        .form(action, button)
        .field(
            Field::text("family", "Family name")
                .of("person", "family")
                .needed()
                .value(of(|one| Some(one.family.clone()))),
        )
        .field(
            Field::text("given", "Given names")
                .of("person", "given")
                .needed()
                .value(of(|one| Some(one.given.clone()))),
        )
        .field(
            Field::date("born_on", "Day of birth")
                .needed()
                .value(of(|one| Some(one.born_on.clone()))),
        )
        .field(
            Field::text("mrn", "Hospital number")
                .of("person", "mrn")
                .hint("As the hospital writes it.")
                .needed()
                .value(of(|one| Some(one.mrn.clone()))),
        )
        .field(
            Field::text("nhs_number", "NHS number")
                .of("person", "nhs_number")
                .hint("Ten digits. Leave it empty when it is not known.")
                .value(of(|one| one.nhs_number.clone())),
        )
        .field(
            Field::text("telephone", "Telephone")
                .of("person", "telephone")
                .value(of(|one| one.telephone.clone())),
        )
        .field(
            Field::lines("address", "Address", 3)
                .of("person", "address")
                .value(of(|one| one.address.clone())),
        )
        .field(
            Field::lines("needs", "What the desk must know", 2)
                .of("person", "needs")
                .hint("Large print, an interpreter, a carer. No findings.")
                .value(of(|one| one.needs.clone())),
        )
}

fn typed_person(typed: &Typed) -> PersonForm {
    let text = |name| typed.get(name).to_owned();
    PersonForm {
        mrn: text("mrn"),
        nhs_number: text("nhs_number"),
        family: text("family"),
        given: text("given"),
        born_on: text("born_on"),
        telephone: text("telephone"),
        address: text("address"),
        needs: text("needs"),
    }
}

/// `GET /people/new`.
pub(crate) async fn new(visit: Visit) -> Answer {
    let form =
        person_form(&visit, "/people/new".to_owned(), "Enter", None).back("/people", "Not now");
    visit.page("A new patient", &Titled::new("A new patient", "", form))
}

/// `POST /people/new`.
pub(crate) async fn enter(visit: Visit, typed: Typed) -> Answer {
    let mut form =
        person_form(&visit, "/people/new".to_owned(), "Enter", None).filled(&typed).checked();
    if !form.has_faults() {
        match visit.app.store().add_person(&visit.author(), &typed_person(&typed)).await {
            Ok(person) => return Ok(visit.done("Entered.", &format!("/people/{}", person.id))),
            Err(error) => form.refused(error, AT)?,
        }
    }
    visit.again("A new patient", &Titled::new("A new patient", "", form))
}

/// `GET /people/{id}`.
pub(crate) async fn person(visit: Visit, Path(id): Path<i64>) -> Answer {
    let page = one(&visit, id, None).await?;
    visit.page(&page.name, &page)
}

/// The page of a person, with the form that was refused.
async fn one(visit: &Visit, id: i64, refused: Option<Form>) -> Result<One, StoreError> {
    let store = visit.app.store();
    let mut conn = store.read().await?;
    let desk = conn.desk_settings().await?;
    let person: Person = conn.get(id).await?;
    let right = match person.same_as {
        Some(right) => Some(row_named(&conn.get(right).await?)),
        None => None,
    };
    let pointing: Vec<(i64, String)> = conn.pointing_to(id).await?.iter().map(row_named).collect();
    let others: Vec<i64> = right.iter().chain(&pointing).map(|one| one.0).collect();
    let mut lines = Vec::new();
    for loan in conn.loans_of(id).await? {
        lines.push(conn.loan_line(loan, store.now(), &desk).await?);
    }
    let mut studies = Vec::new();
    for study in conn.studies_of(id).await? {
        let referral: Referral = conn.get(study.referral).await?;
        let asks = question_says(&mut conn, &referral).await;
        studies.push(study_row(study, referral, asks));
    }
    let nights =
        NightTable::of(visit, &mut conn, Of::Person(id), "No night of this person is in.").await?;
    drop(conn);
    let seen = if others.is_empty() { json!(null) } else { json!({"people": others}) };
    visit.looks(format!("person {id}"), Some(id), seen);
    Ok(One {
        id,
        name: person.listed(),
        voided: voided(&person),
        right,
        pointing,
        facts: facts(&person),
        studies,
        nights,
        loans: LoanTable::new(
            visit,
            &lines,
            Offer::Stands,
            "No monitor was lent to this person.",
            "Stands",
        ),
        void: refused.or_else(|| way_on(visit, &person)),
        may_lend: visit.may(Right::Lend),
        may_compare: visit.may(Right::SeeResults),
    })
}

fn voided(person: &Person) -> String {
    match (&person.voided_because, person.same_as) {
        (Some(because), Some(_)) => format!("Void: {because}. The right row is another one:"),
        (Some(because), None) => format!("Void: {because}."),
        (None, _) => String::new(),
    }
}

fn row_named(person: &Person) -> (i64, String) {
    (person.id, format!("{}, born {}, {}", person.listed(), person.born_on, person.mrn))
}

/// To void a row that stands, to take back the void of one that does not.
fn way_on(visit: &Visit, person: &Person) -> Option<Form> {
    let form = if person.voided_at.is_none() { void_form } else { restore_form };
    visit.may(Right::Lend).then(|| form(visit, person.id))
}

fn facts(person: &Person) -> Vec<(&'static str, String)> {
    let all = [
        ("Born", Some(person.born_on.clone())),
        ("Hospital number", Some(person.mrn.clone())),
        ("NHS number", person.nhs_number.clone()),
        ("Telephone", person.telephone.clone()),
        ("Address", person.address.as_ref().map(|lines| lines.replace('\n', ", "))),
        ("The desk must know", person.needs.clone()),
    ];
    all.into_iter().filter_map(|(label, fact)| Some((label, fact?))).collect()
}

fn study_row(study: Study, referral: Referral, question: String) -> StudyRow {
    let closed = study.closed_because.map_or_else(String::new, |because| format!(": {because}"));
    StudyRow {
        id: study.id,
        asked: format!("{}, {}", referral.asked_by, referral.received_on),
        question,
        words: referral.words.unwrap_or_default(),
        urgency: referral.urgency,
        says: format!("{}{closed}", study.status),
        bookable: matches!(
            study.status,
            StudyStatus::Waiting | StudyStatus::ToRead | StudyStatus::Reported
        ),
    }
}

async fn question_says(conn: &mut Conn, referral: &Referral) -> String {
    let set = conn.criteria(&referral.criteria).await.ok();
    let asks = set
        .as_ref()
        .and_then(|set| set.question(Some(&referral.question)))
        .map(|question| question.asks.clone());
    asks.unwrap_or_else(|| referral.question.clone())
}

/// `GET /people/{id}/edit`.
pub(crate) async fn edit(visit: Visit, Path(id): Path<i64>) -> Answer {
    let person: Person = visit.app.store().read().await?.get(id).await?;
    let form = edit_form(&visit, &person);
    visit.page("Correct", &Titled::new(&format!("Correct {}", person.listed()), "", form))
}

fn edit_form(visit: &Visit, person: &Person) -> Form {
    let id = person.id;
    person_form(visit, format!("/people/{id}/edit"), "Correct", Some(person))
        .field(Field::text("reason", "Why it is corrected").hint("Stands in the record.").needed())
        .field(Field::hidden("seen", person.act.to_string()))
        .back(format!("/people/{id}"), "Leave it as it is")
}

/// `POST /people/{id}/edit`.
pub(crate) async fn correct(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let store = visit.app.store();
    let person: Person = store.read().await?.get(id).await?;
    let mut form = edit_form(&visit, &person).filled(&typed).checked();
    if !form.has_faults() {
        let seen = typed.number("seen").unwrap_or(0);
        match store
            .correct_person(&visit.author(), id, seen, &typed_person(&typed), typed.get("reason"))
            .await
        {
            Ok(_) => return Ok(visit.done("Corrected.", &format!("/people/{id}"))),
            Err(error) => form.refused(error, AT)?,
        }
    }
    visit.again("Correct", &Titled::new(&format!("Correct {}", person.listed()), "", form))
}

fn void_form(visit: &Visit, id: i64) -> Form {
    visit
        .form(format!("/people/{id}/void"), "Void this row")
        .field(
            Field::text("same_as", "Hospital number of the right row")
                .of("person", "mrn")
                .hint("Leave it empty when there is none."),
        )
        .field(Field::text("reason", "Why it is void").needed())
        .grave()
}

/// `POST /people/{id}/void`.
pub(crate) async fn void(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let mut form = void_form(&visit, id).filled(&typed).checked();
    let store = visit.app.store();
    let mut same_as = None;
    if let Some(mrn) = typed.option("same_as") {
        let right = store.read().await?.person_numbered(&mrn).await?;
        match right {
            Some(person) => same_as = Some(person.id),
            None => form.fault("same_as", "Nobody has this hospital number."),
        }
    }
    if !form.has_faults() {
        match store.void_person(&visit.author(), id, same_as, typed.get("reason")).await {
            Ok(_) => return Ok(visit.done("Voided.", &format!("/people/{id}"))),
            Err(error) => form.refused(error, AT)?,
        }
    }
    let page = one(&visit, id, Some(form)).await?;
    visit.again(&page.name, &page)
}

fn restore_form(visit: &Visit, id: i64) -> Form {
    visit
        .form(format!("/people/{id}/restore"), "Take the void back")
        .field(Field::text("reason", "Why the row stands after all").needed())
        .grave()
}

/// `POST /people/{id}/restore`.
pub(crate) async fn restore(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let mut form = restore_form(&visit, id).filled(&typed).checked();
    let store = visit.app.store();
    if !form.has_faults() {
        match store.restore_person(&visit.author(), id, typed.get("reason")).await {
            Ok(_) => return Ok(visit.done("The row stands again.", &format!("/people/{id}"))),
            Err(error) => form.refused(error, AT)?,
        }
    }
    let page = one(&visit, id, Some(form)).await?;
    visit.again(&page.name, &page)
}

async fn refer_form(visit: &Visit, person: &Person) -> Result<Form, StoreError> {
    let today =
        store::when::local_date(visit.app.store().now(), &visit.department.zone).to_string();
    let urgencies = Urgency::choices();
    let questions = questions(&mut visit.app.store().read().await?).await?;
    Ok(visit
        .form(format!("/people/{}/refer", person.id), "Enter the referral")
        .field(Field::text("asked_by", "Who asks").of("referral", "asked_by").needed())
        .field(Field::date("received_on", "Letter received").needed().value(today))
        .field(Field::menu("question", "The question", questions).needed())
        .field(Field::lines("words", "The question in the referrer's words", 3))
        .field(Field::text("support", "Support in use").of("referral", "support").hint(
            "Ventilation with mode and pressures, oxygen with its flow, or air. Empty: not told.",
        ))
        .field(Field::one("urgency", "How soon", urgencies).needed().value("routine"))
        .back(format!("/people/{}", person.id), "Not now"))
}

/// Every question of every set of criteria, the department's own too: `SET/QUESTION` and its words.
async fn questions(conn: &mut Conn) -> Result<Vec<(String, String)>, StoreError> {
    let mut all = Vec::new();
    for name in conn.set_names().await? {
        let Ok(set) = conn.criteria(&name).await else { continue };
        for question in &set.questions {
            all.push((format!("{name}/{}", question.id), format!("{} ({name})", question.asks)));
        }
    }
    Ok(all)
}

/// `GET /people/{id}/refer`.
pub(crate) async fn refer(visit: Visit, Path(id): Path<i64>) -> Answer {
    let person: Person = visit.app.store().read().await?.get(id).await?;
    let form = refer_form(&visit, &person).await?;
    visit.page("Referral", &Titled::new(&format!("Referral for {}", person.listed()), "", form))
}

/// `POST /people/{id}/refer`.
pub(crate) async fn enter_referral(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let store = visit.app.store();
    let person: Person = store.read().await?.get(id).await?;
    let mut form = refer_form(&visit, &person).await?.filled(&typed).checked();
    if !form.has_faults() {
        let (criteria, question) = typed.get("question").split_once('/').unwrap_or_default();
        let referral = ReferralForm {
            person: id,
            asked_by: typed.get("asked_by").to_owned(),
            received_on: typed.get("received_on").to_owned(),
            question: question.to_owned(),
            words: typed.get("words").to_owned(),
            support: typed.get("support").to_owned(),
            urgency: Urgency::read(typed.get("urgency")).unwrap_or(Urgency::Routine),
            criteria: criteria.to_owned(),
        };
        match store.add_referral(&visit.author(), referral).await {
            Ok((_, study)) => {
                return Ok(visit
                    .done("Entered. Now book a monitor.", &format!("/studies/{}/book", study.id)));
            }
            Err(error) => form.refused(error, AT)?,
        }
    }
    visit.again("Referral", &Titled::new(&format!("Referral for {}", person.listed()), "", form))
}
