//! Papers over HTTP: a draft says that it is one, what is signed is what was shown, an act writes its own fields, and a
//! version that stands no more is read with that across it.

use std::sync::Arc;

use axum::http::StatusCode;
use store::lending::setting::DESK;
use store::lending::setting::DeskSettings;
use store::record::act::Author;
use store::record::tables::HandOut;
use store::record::tables::Loan;
use store::record::tables::Night;
use store::record::tables::Person;
use store::words::Contact;
use store::words::LoanStatus;
use store::words::Role;
use web::access::ROUTES;
use web::access::Right;
use web::access::may;
use web::fields::FIELDS;
use web::fields::takes;
use web::pages::routes;
use web::printer::Paper;
use web::printer::Printer;

use crate::ask::Bench;
use crate::ask::Got;
use crate::ask::PASSWORD;
use crate::ask::bench;
use crate::ask::bench_on;
use crate::night::hidden;
use crate::night::night;

const ROLES: [Role; 5] =
    [Role::Desk, Role::Physiologist, Role::Physician, Role::Governance, Role::Administrator];

/// Puts the page itself where the paper would be, since this crate has no typesetter.
struct Plain;

impl Printer for Plain {
    fn print(&self, paper: &Paper, _desk: &DeskSettings) -> Result<Vec<u8>, String> {
        match paper {
            Paper::Report(of) => Ok(engine::print::html(&of.report, &of.heading).into_bytes()),
            Paper::Marked(of) => Ok(format!("LAID OVER {}", of.stamp.word).into_bytes()),
            Paper::Leaflet(of) => {
                Ok(format!("{} from {}", of.worn.minutes, of.worn.from).into_bytes())
            }
            Paper::HandOut(of) => Ok(format!("lent [{}]", of.lent_on).into_bytes()),
            _ => Err("that is not printed here".to_owned()),
        }
    }
}

async fn read() -> (Bench, Night) {
    let bench = bench_on(false, Arc::new(Plain)).await;
    let night = night(&bench).await;
    (bench, night)
}

fn password() -> String {
    PASSWORD.replace(' ', "+")
}

/// The report's page as a role sees it: what it would send to sign.
async fn opened(bench: &Bench, night: i64, role: Role) -> (String, String) {
    let token = bench.token(role).await;
    let page = bench.get(&format!("/nights/{night}/report"), &token).await.text;
    let sent = format!("seen={}&shown={}", hidden(&page, "seen"), hidden(&page, "shown"));
    (token, format!("{sent}&password={}", password()))
}

async fn signed(bench: &Bench, night: i64, words: &str) -> Got {
    let (token, sent) = opened(bench, night, Role::Physiologist).await;
    bench.post(&format!("/nights/{night}/sign"), &token, &format!("{sent}&{words}")).await
}

async fn interpreted(bench: &Bench, night: i64, words: &str) -> Got {
    let (token, sent) = opened(bench, night, Role::Physician).await;
    bench.post(&format!("/nights/{night}/interpret"), &token, &format!("{sent}&{words}")).await
}

async fn act(bench: &Bench, night: i64, what: &str, reason: &str) -> Got {
    let token = bench.token(Role::Physiologist).await;
    let page = bench.get(&format!("/nights/{night}/report"), &token).await.text;
    let (_, form) = page.split_once(&format!("/nights/{night}/{what}\"")).unwrap();
    let sent = format!("seen={}&password={}&reason={reason}", hidden(form, "seen"), password());
    bench.post(&format!("/nights/{night}/{what}"), &token, &sent).await
}

async fn heads(bench: &Bench) -> i64 {
    bench.store.head().await.unwrap().seq
}

#[test]
fn every_act_stands_in_the_table_of_fields_and_nothing_else_does() {
    let router = routes();
    let acts = router.list().iter().filter(|(method, _)| *method == "POST");
    let unlisted: Vec<_> =
        acts.filter(|(_, path)| FIELDS.iter().all(|(of, _)| of != path)).collect();
    assert!(unlisted.is_empty(), "not in the table of fields: {unlisted:?}");
    for (path, _) in FIELDS {
        assert!(router.list().contains(&("POST", path)), "in the table, not in the router: {path}");
    }
}

/// Every act is sent every field that any other act has, one form for each, by whoever may do the act: each is refused,
/// and no act is written.
#[tokio::test(flavor = "multi_thread")]
async fn a_field_that_an_act_does_not_have_is_refused_and_nothing_of_the_record_moves() {
    let bench = bench().await;
    for role in ROLES {
        bench.account(role).await;
    }
    let names: std::collections::BTreeSet<&str> = FIELDS
        .iter()
        .flat_map(|(_, groups)| groups.iter().flat_map(|group| group.iter().copied()))
        .collect();
    for role in ROLES {
        let mut token = bench.token(role).await;
        for (method, path, right) in ROUTES {
            if *method != "POST" || *path == "/receive" || !may(role, *right) {
                continue;
            }
            if bench.store.session(&token, 900, false).await.unwrap().is_none() {
                token = bench.token(role).await;
            }
            let address =
                path.replace("{id}", "1").replace("{token}", "none").replace("{name}", "desk");
            let before = heads(&bench).await;
            let foreign: Vec<&str> =
                names.iter().copied().filter(|name| !takes(path, name)).collect();
            assert!(foreign.len() > 40, "{path} takes nearly everything");
            let all = format!("&{}=1", foreign.join("=1&"));
            for sent in [format!("&{}=1", foreign[0]), all, "&comment.x=1".to_owned()] {
                let got = bench.post(&address, &token, &sent[1..]).await;
                assert_eq!(
                    got.status,
                    StatusCode::UNPROCESSABLE_ENTITY,
                    "{path} as {role}: {sent}"
                );
                assert!(
                    got.text.contains("This form has no field of the name"),
                    "{path}: {}",
                    got.text
                );
            }
            assert_eq!(heads(&bench).await, before, "{path} as {role}");
        }
    }
}

/// What our own pages send is what the acts take: every form of every kind of page.
#[tokio::test(flavor = "multi_thread")]
async fn every_form_of_our_pages_sends_only_fields_that_its_act_has() {
    let (bench, night) = read().await;
    for role in [Role::Governance, Role::Administrator] {
        bench.account(role).await;
    }
    let night_page = format!("/nights/{}", night.id);
    let mut pages: Vec<String> =
        ["", "/report", "/repeat"].map(|more| format!("{night_page}{more}")).into();
    pages.extend(
        [
            "/",
            "/people",
            "/people/new",
            "/people/1",
            "/people/1/edit",
            "/people/1/refer",
            "/studies/1/book",
            "/loans/1",
            "/loans/1/hand-out",
            "/loans/1/take-back",
            "/loans/1/diary",
            "/receive",
            "/monitors",
            "/monitors/new",
            "/monitors/1",
            "/lots",
            "/agreement",
            "/second",
            "/criteria",
            "/criteria/adult-air",
            "/criteria/adult-air/rerun",
            "/accounts",
            "/accounts/new",
            "/accounts/1",
            "/retention",
            "/retention/1",
            "/settings/desk",
            "/settings/phrases",
            "/password",
            "/morning",
        ]
        .map(str::to_owned),
    );
    let mut seen = std::collections::BTreeSet::new();
    for role in ROLES {
        let token = bench.token(role).await;
        for page in &pages {
            let got = bench.get(page, &token).await;
            for form in got.text.split("<form").skip(1) {
                let form = form.split("</form>").next().unwrap();
                let (opening, _) = form.split_once('>').unwrap();
                if !opening.contains("post") {
                    continue;
                }
                let action = opening.split("action=\"").nth(1).unwrap().split('"').next().unwrap();
                let path = pattern(action);
                for name in
                    form.split(" name=\"").skip(1).map(|rest| rest.split('"').next().unwrap())
                {
                    assert!(takes(path, name), "{page}: {action} sends {name}");
                }
                seen.insert(path);
            }
        }
    }
    assert!(seen.len() > 30, "{seen:?}");
}

/// The route of an address.
fn pattern(address: &str) -> &'static str {
    let same = |path: &str| {
        let (own, asked): (Vec<_>, Vec<_>) =
            (path.split('/').collect(), address.split('/').collect());
        own.len() == asked.len()
            && own.iter().zip(&asked).all(|(own, asked)| own.starts_with('{') || own == asked)
    };
    let found = ROUTES.iter().filter(|(method, path, _)| *method == "POST" && same(path));
    let mut found: Vec<_> = found.map(|(_, path, _)| *path).collect();
    found.sort_by_key(|path| path.matches('{').count());
    found.first().copied().unwrap_or_else(|| panic!("no act at {address}"))
}

#[tokio::test(flavor = "multi_thread")]
async fn h1_a_physician_cannot_write_the_physiologists_comment() {
    let (bench, night) = read().await;
    assert_eq!(
        signed(&bench, night.id, "comment=Good+recording.").await.status,
        StatusCode::SEE_OTHER
    );
    let injected = interpreted(&bench, night.id, "interpretation=Normal.&comment=INJECTED").await;
    assert_eq!(injected.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", injected.text);
    let done = interpreted(&bench, night.id, "interpretation=Normal.").await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    let reports = bench.store.read().await.unwrap().reports(night.id).await.unwrap();
    assert_eq!(reports.len(), 2);
    assert!(
        reports[0].content.contains("Good recording.") && !reports[0].content.contains("INJECTED")
    );
}

/// R3: what is looked at before anybody signs bears nobody's name as a signature, and says on every page what it is.
#[tokio::test(flavor = "multi_thread")]
async fn r003_a_preview_is_a_draft_with_blank_signatures_whoever_looks() {
    let (bench, night) = read().await;
    let path = format!("/nights/{}/report/preview", night.id);
    for round in 0..3 {
        for role in [Role::Physiologist, Role::Physician] {
            let token = bench.token(role).await;
            for got in [
                bench.get(&path, &token).await,
                bench.post(&path, &token, "comment=x&interpretation=y").await,
            ] {
                let text = got.text;
                assert!(
                    text.contains("<b>DRAFT</b> Not signed by anybody"),
                    "{round} {role}: {text}"
                );
                assert!(
                    text.contains("class=\"stamp\"") && text.contains("<title>DRAFT: "),
                    "{text}"
                );
                assert!(
                    !text.contains("Bo physiologist") && !text.contains("Bo physician"),
                    "{round} {role}: {text}"
                );
            }
        }
        match round {
            0 => {
                assert_eq!(
                    signed(&bench, night.id, "comment=").await.status,
                    StatusCode::SEE_OTHER
                );
            }
            1 => assert_eq!(
                act(&bench, night.id, "withdraw", "the+wrong+patient").await.status,
                StatusCode::SEE_OTHER
            ),
            _ => {}
        }
    }
}

/// R4, M9: the name on the page that was read is the name on the paper that is signed, or nothing is signed.
#[tokio::test(flavor = "multi_thread")]
async fn r004_what_changed_while_the_page_was_open_refuses_the_signature_and_is_named() {
    let (bench, night) = read().await;
    let (token, sent) = opened(&bench, night.id, Role::Physiologist).await;
    let sign = format!("/nights/{}/sign", night.id);
    let mut act_ = bench.store.act(&Author::program(), "person.correct").await.unwrap();
    let mut person: Person = act_.get(night.person.unwrap()).await.unwrap();
    person.family = "Somebodyelse".to_owned();
    act_.put(&mut person).await.unwrap();
    act_.close().await.unwrap();
    let got = bench.post(&sign, &token, &format!("{sent}&comment=Two+hours+of+my+work.")).await;
    assert_eq!(got.status, StatusCode::CONFLICT, "{}", got.text);
    assert!(
        got.text.contains("Changed since this page was opened: patient&#39;s name."),
        "{}",
        got.text
    );
    assert!(got.text.contains("Two hours of my work."), "nothing that was typed is lost");
    let desk =
        DeskSettings { department: "Another department".to_owned(), ..DeskSettings::default() };
    let (token, sent) = opened(&bench, night.id, Role::Physiologist).await;
    let text = serde_json::to_string(&desk).unwrap();
    bench.store.put_setting(&Author::program(), DESK, &text).await.unwrap();
    let got = bench.post(&sign, &token, &format!("{sent}&comment=Mine.")).await;
    assert!(
        got.text.contains("Changed since this page was opened: hospital or department."),
        "{}",
        got.text
    );
    assert!(bench.store.read().await.unwrap().reports(night.id).await.unwrap().is_empty());
    // The page that came back shows what holds now, and can be signed.
    let again = format!("seen={}&shown={}", hidden(&got.text, "seen"), hidden(&got.text, "shown"));
    let done =
        bench.post(&sign, &token, &format!("{again}&password={}&comment=Mine.", password())).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    let kept = bench.store.read().await.unwrap().reports(night.id).await.unwrap().remove(0);
    assert!(kept.content.contains("SOMEBODYELSE") && kept.content.contains("Another department"));
}

/// Two who have the page open: the second is told, and their words are not lost.
#[tokio::test(flavor = "multi_thread")]
async fn whoever_signs_second_keeps_their_words() {
    let (bench, night) = read().await;
    let (token, sent) = opened(&bench, night.id, Role::Physiologist).await;
    assert_eq!(signed(&bench, night.id, "comment=First.").await.status, StatusCode::SEE_OTHER);
    let late = bench
        .post(
            &format!("/nights/{}/sign", night.id),
            &token,
            &format!("{sent}&comment=Second+words."),
        )
        .await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.text.contains("Second words."), "{}", late.text);
}

/// R5, R36, S6, S7: a version that was replaced or withdrawn is read with that across it, from the moment of the change.
#[tokio::test(flavor = "multi_thread")]
async fn r005_a_paper_that_stands_no_more_prints_only_with_that_across_it() {
    let (bench, night) = read().await;
    let id = night.id;
    signed(&bench, id, "comment=Good.").await;
    let token = bench.token(Role::Physician).await;
    let paper =
        async |version: i64| bench.get(&format!("/nights/{id}/reports/{version}"), &token).await;
    let first = paper(1).await;
    assert!(
        first.text.contains("Bo physiologist, 25 November 2026")
            && !first.text.contains("stamped\" role")
    );
    assert!(
        first.text.contains("version 1") && first.text.contains("Record before it"),
        "{}",
        first.text
    );
    interpreted(&bench, id, "interpretation=Normal.").await;
    let replaced = paper(1).await;
    assert!(
        replaced.text.contains("<b>REPLACED</b>")
            && replaced.text.contains("Version 2 stands in its place."),
        "{}",
        replaced.text
    );
    assert!(replaced.text.contains("Bo physiologist, 25 November 2026"), "the same content");
    assert!(replaced.header("content-disposition").contains("report-1-1-replaced.pdf"));
    assert!(paper(2).await.text.contains("in place of version 1: interpreted"));
    // A new interpretation says what changed.
    let unsaid = interpreted(&bench, id, "interpretation=Severe.&changed=").await;
    assert_eq!(unsaid.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", unsaid.text);
    assert_eq!(
        interpreted(&bench, id, "interpretation=Severe.&changed=read+anew").await.status,
        StatusCode::SEE_OTHER
    );
    // Amended: the interpretation is not lost for whoever interprets the new version.
    assert_eq!(act(&bench, id, "reopen", "the+diary+came").await.status, StatusCode::SEE_OTHER);
    signed(&bench, id, "comment=Good.&changed=diary").await;
    let page = bench.get(&format!("/nights/{id}/report"), &token).await.text;
    assert!(
        page.contains("Severe.</textarea>") && page.contains("It begins as version 3 had it"),
        "{page}"
    );
    // Withdrawn, with a password and a reason.
    let bare = bench
        .post(
            &format!("/nights/{id}/withdraw"),
            &token,
            &format!("seen={}&reason=x", hidden(&page, "seen")),
        )
        .await;
    assert_eq!(bare.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(
        act(&bench, id, "withdraw", "the+wrong+patient").await.status,
        StatusCode::SEE_OTHER
    );
    for version in 1..=4 {
        let text = paper(version).await.text;
        assert!(
            text.contains("<b>WITHDRAWN</b>") && text.contains("the wrong patient"),
            "{version}: {text}"
        );
    }
    let page = bench.get(&format!("/nights/{id}/report"), &token).await.text;
    assert!(page.contains("Withdrawn on 2026-11-25") && !page.contains("Not signed yet"), "{page}");
    assert!(!page.contains("Signed paper, PDF"), "{page}");
    // What was signed is untouched.
    let mut conn = bench.store.read().await.unwrap();
    let report = conn.reports(id).await.unwrap().into_iter().find(|one| one.version == 1).unwrap();
    assert_eq!(
        conn.bytes(report.pdf_sha256.as_deref().unwrap()).await.unwrap(),
        first.text.as_bytes()
    );
}

/// Where this release does not print what another signed, the mark is laid over the pages that were signed.
#[tokio::test(flavor = "multi_thread")]
async fn a_paper_of_another_release_is_marked_as_it_was_signed() {
    let (bench, night) = read().await;
    signed(&bench, night.id, "comment=").await;
    act(&bench, night.id, "withdraw", "a+test").await;
    let mut other = bench.store.act(&Author::program(), "test").await.unwrap();
    let mut report: store::record::tables::Report = other.get(1).await.unwrap();
    report.content = report.content.replace("\"comment\":[]", "\"comment\":[\"more\"]");
    other.on("night", night.person);
    other.put(&mut report).await.unwrap();
    other.close().await.unwrap();
    let token = bench.token(Role::Physician).await;
    let got = bench.get(&format!("/nights/{}/reports/1", night.id), &token).await;
    assert_eq!(got.text, "LAID OVER WITHDRAWN");
}

/// R29: a report stays with the patient it was signed for.
#[tokio::test(flavor = "multi_thread")]
async fn r029_a_night_given_to_another_patient_brings_nothing_of_the_first_ones_report() {
    let (bench, night) = read().await;
    signed(&bench, night.id, "comment=Of+the+first+patient.").await;
    act(&bench, night.id, "withdraw", "the+wrong+patient").await;
    crate::lent::lend(&bench.store, 2, ("Bolster", "Bram"), 1_795_557_600).await.unwrap();
    let mut moved = bench.store.act(&Author::program(), "night.settle").await.unwrap();
    let mut row: Night = moved.get(night.id).await.unwrap();
    (row.person, row.study, row.loan) = (Some(2), Some(2), Some(2));
    moved.put(&mut row).await.unwrap();
    moved.close().await.unwrap();
    let token = bench.token(Role::Physiologist).await;
    let page = bench.get(&format!("/nights/{}/report", night.id), &token).await.text;
    assert!(page.contains("BOLSTER") && page.contains("Not signed yet."), "{page}");
    assert!(!page.contains("Of the first patient.") && !page.contains("/reports/1\""), "{page}");
    let preview = bench.get(&format!("/nights/{}/report/preview", night.id), &token).await.text;
    assert!(!preview.contains("Of the first patient."), "{preview}");
    assert_eq!(
        signed(&bench, night.id, "comment=Of+the+second.").await.status,
        StatusCode::SEE_OTHER
    );
    // The first patient's paper says nothing of the second's.
    let paper = bench.get(&format!("/nights/{}/reports/1", night.id), &token).await.text;
    assert!(
        paper.contains("<b>WITHDRAWN</b>") && paper.contains("No version stands in its place."),
        "{paper}"
    );
}

/// No figure is printed that the department did not give, and no paper has a blank for it.
#[tokio::test(flavor = "multi_thread")]
async fn no_leaflet_is_printed_without_the_departments_own_hours() {
    let (bench, _) = read().await;
    let token = bench.token(Role::Desk).await;
    for paper in ["leaflet.pdf", "sheet.pdf"] {
        let got = bench.get(&format!("/loans/1/{paper}"), &token).await;
        assert_eq!(got.status, StatusCode::CONFLICT, "{}", got.text);
        assert!(got.text.contains("set it under Settings, the desk"), "{}", got.text);
    }
    let typed = bench.get("/loans/1/leaflet.pdf?hours=4&from=21:30", &token).await;
    assert_eq!(typed.text, "240 from 21:30:00");
    let desk = DeskSettings { longest_hours: Some(6.0), ..DeskSettings::default() };
    let text = serde_json::to_string(&desk).unwrap();
    bench.store.put_setting(&Author::program(), DESK, &text).await.unwrap();
    assert_eq!(bench.get("/loans/1/leaflet.pdf", &token).await.text, "360 from 22:00:00");
    let more = bench.get("/loans/1/leaflet.pdf?hours=7", &token).await;
    assert!(more.status == StatusCode::CONFLICT && more.text.contains("and 6 h"), "{}", more.text);
    for wrong in ["hours=x", "from=late", "hours=4&from=25:00"] {
        let got = bench.get(&format!("/loans/1/leaflet.pdf?{wrong}"), &token).await;
        assert_eq!(got.status, StatusCode::BAD_REQUEST, "{wrong}");
    }
}

/// P5: a sheet printed before the monitor goes out says no hour at which it went.
#[tokio::test(flavor = "multi_thread")]
async fn p005_a_hand_out_sheet_printed_ahead_says_no_hour() {
    let (bench, _) = read().await;
    let mut booked = bench.store.act(&Author::program(), "loan.book").await.unwrap();
    let mut loan: Loan = booked.get(1).await.unwrap();
    (loan.out_at, loan.out.0, loan.status) = (None, None, LoanStatus::Booked);
    booked.put(&mut loan).await.unwrap();
    booked.close().await.unwrap();
    let token = bench.token(Role::Desk).await;
    assert_eq!(bench.get("/loans/1/sheet.pdf?hours=8", &token).await.text, "lent []");
}

/// R31: nobody is asked for a monitor that was given up because they died.
#[tokio::test(flavor = "multi_thread")]
async fn r031_a_letter_is_printed_only_while_it_is_true() {
    let (bench, _) = read().await;
    let token = bench.token(Role::Desk).await;
    for letter in ["repeat", "overdue", "overdue-again"] {
        let got = bench.get(&format!("/loans/1/letter.pdf?letter={letter}"), &token).await;
        assert!(
            got.text.contains("this letter would say something that is not so"),
            "{}",
            got.text
        );
    }
}

/// A letter about a loan that is not due says that it is; a second one, that there was a first.
#[tokio::test(flavor = "multi_thread")]
async fn r037_a_reminder_is_printed_only_when_the_loan_is_due_and_a_second_only_after_a_first() {
    let (bench, _) = read().await;
    let by = Author::program();
    let mut booked = bench.store.act(&by, "loan.hand_out").await.unwrap();
    let mut loan: Loan = booked.get(1).await.unwrap();
    (loan.status, loan.back_at, loan.due_at) = (LoanStatus::Out, None, bench.store.now() + 3_600);
    booked.put(&mut loan).await.unwrap();
    booked.close().await.unwrap();
    let token = bench.token(Role::Desk).await;
    let (first, second) =
        ("/loans/1/letter.pdf?letter=overdue", "/loans/1/letter.pdf?letter=overdue-again");
    for letter in [first, second] {
        assert!(bench.get(letter, &token).await.text.contains("is not overdue"), "{letter}");
    }
    bench.wait_s(7_200);
    let token = bench.token(Role::Desk).await;
    // Nothing stands in the way but the typesetter, which this bench has not.
    let printed = "That is not printed here.";
    assert!(bench.get(first, &token).await.text.contains(printed));
    let got = bench.get(second, &token).await;
    assert!(got.text.contains("without a first reminder"), "{}", got.text);
    assert!(!bench.get("/loans/1", &token).await.text.contains("overdue-again"));
    bench.store.chase(&by, 1, Contact::Letter, "first reminder sent").await.unwrap();
    assert!(bench.get(second, &token).await.text.contains(printed));
    assert!(bench.get("/loans/1", &token).await.text.contains("overdue-again"));
}

/// Who cannot feel heat, call out or take the sensor off has somebody named who will.
#[tokio::test(flavor = "multi_thread")]
async fn nobody_wears_a_heated_sensor_whom_nobody_can_free_of_it() {
    let desk = DeskSettings { longest_hours: Some(6.0), ..DeskSettings::default() };
    let refused = |form: &HandOut, desk: &DeskSettings| -> Vec<&'static str> {
        let all = store::lending::loan::hand_out_faults(form, desk);
        let heat = ["hours_missing", "hours_wrong", "nobody_takes_it_off"];
        all.into_iter().map(|one| one.code).filter(|code| heat.contains(code)).collect()
    };
    let of = |longest_min, takes_off, carer: &str| HandOut {
        longest_min,
        takes_off,
        carer: Some(carer.to_owned()),
        ..HandOut::default()
    };
    for (form, desk, codes) in [
        (of(None, true, ""), DeskSettings::default(), vec!["hours_missing"]),
        (of(Some(240), true, ""), DeskSettings::default(), vec![]),
        (of(None, true, ""), desk.clone(), vec![]),
        (of(Some(361), true, ""), desk.clone(), vec!["hours_wrong"]),
        (of(Some(0), false, "Wren"), desk.clone(), vec!["hours_wrong"]),
        (of(Some(360), false, " "), desk.clone(), vec!["nobody_takes_it_off"]),
        (of(Some(360), false, "Wren Bolster"), desk.clone(), vec![]),
    ] {
        assert_eq!(refused(&form, &desk), codes, "{form:?}");
    }
}

#[test]
fn only_who_may_interpret_has_the_form_for_it() {
    assert!(
        !may(Role::Physiologist, Right::Interpret) && !takes("/nights/{id}/interpret", "comment")
    );
    assert!(!takes("/nights/{id}/sign", "interpretation") && takes("/nights/{id}/sign", "comment"));
}

/// R5: who looks anywhere at the night of a withdrawn report is told in words, and led to why.
#[tokio::test(flavor = "multi_thread")]
async fn r005_a_withdrawn_report_is_told_wherever_its_night_is_listed() {
    let (bench, night) = read().await;
    let places = [
        (format!("/nights/{}", night.id), Role::Physiologist),
        ("/nights".to_owned(), Role::Physiologist),
        ("/people/1".to_owned(), Role::Physiologist),
        ("/loans/1".to_owned(), Role::Physiologist),
        ("/people/1".to_owned(), Role::Desk),
    ];
    let shown = async |words: &str, is: bool| {
        for (path, role) in &places {
            let page = bench.get(path, &bench.token(*role).await).await.text;
            assert_eq!(page.contains(words), is, "{words} on {path} of the {role}: {page}");
            let link = format!("/nights/{}/report\"", night.id);
            assert!(
                !is || *role == Role::Desk || page.contains(&link),
                "{path} leads to no report"
            );
        }
    };
    assert_eq!(signed(&bench, night.id, "comment=First.").await.status, StatusCode::SEE_OTHER);
    shown("report withdrawn", false).await;
    act(&bench, night.id, "withdraw", "another+patient").await;
    shown("report withdrawn", true).await;
    // Why it was withdrawn is for whoever sees results.
    let desk = bench.get("/people/1", &bench.token(Role::Desk).await).await.text;
    assert!(!desk.contains("nother patient"), "{desk}");
    let reader = bench.get("/people/1", &bench.token(Role::Physiologist).await).await.text;
    assert!(reader.contains("Another patient."), "{reader}");
}

/// A check that fails when the report is signed waits for its reader on every page that lists what waits.
#[tokio::test(flavor = "multi_thread")]
async fn r009_what_was_learnt_after_signing_is_told_wherever_its_reader_looks() {
    let (bench, night) = read().await;
    assert_eq!(signed(&bench, night.id, "comment=First.").await.status, StatusCode::SEE_OTHER);
    let mut act = bench.store.act(&Author::program(), "monitor.check").await.unwrap();
    let mut check = store::record::tables::Check {
        id: 0,
        act: 0,
        monitor: 1,
        loan: Some(1),
        at: night.end_at + 600,
        who: "desk".to_owned(),
        made: store::words::CheckWhen::After,
        gas: None,
        expected_kpa: Some(5.0),
        observed_kpa: Some(6.4),
        pressure_kpa: None,
        clock_ahead_s: Some(0),
        parts: store::record::row::Kept(Vec::new()),
        missing: store::record::row::Kept(Vec::new()),
        passed: false,
        note: Some("it is off".to_owned()),
        voided_at: None,
        voided_by: None,
        voided_because: None,
    };
    act.put(&mut check).await.unwrap();
    act.close().await.unwrap();
    let reads = Role::Physiologist;
    for (path, role, words) in [
        (format!("/nights/{}", night.id), reads, "off by as much as 1.40 kPa"),
        (format!("/nights/{}", night.id), reads, "sign it anew, or withdraw its report"),
        ("/nights".to_owned(), reads, "Signed, and something was learnt since"),
        ("/nights".to_owned(), Role::Physician, "did not pass"),
        ("/nights".to_owned(), reads, "1 signed night must be looked at again."),
        ("/morning".to_owned(), reads, "Signed nights to look at again"),
        ("/morning".to_owned(), reads, "off by as much as 1.40 kPa"),
        ("/morning".to_owned(), Role::Desk, "Learnt since it was signed"),
        ("/people/1".to_owned(), reads, "did not pass"),
        ("/people/1".to_owned(), Role::Desk, "Learnt since it was signed"),
        ("/loans/1".to_owned(), Role::Desk, "Learnt since it was signed"),
        ("/monitors/1".to_owned(), Role::Desk, "its report does not tell of this check"),
    ] {
        let page = bench.get(&path, &bench.token(role).await).await.text;
        assert!(page.contains(words), "{words} on {path} of the {role}: {page}");
        if role == Role::Desk {
            assert!(!page.contains("off by as much as"), "{path}: figures for the desk");
        }
    }
}

/// Whoever signs reads what was learnt, and the head of the report, before the place for the password.
#[tokio::test(flavor = "multi_thread")]
async fn what_must_be_known_stands_before_the_password_and_in_the_list_of_who_interprets() {
    let (bench, night) = read().await;
    let reads = bench.token(Role::Physiologist).await;
    let list = bench.get("/nights", &reads).await.text;
    let why = list.split("<span class=\"why\">").nth(1).unwrap().split('<').next().unwrap();
    let why = why.trim().to_owned();
    assert!(why.len() > 20, "{why}");
    assert_eq!(signed(&bench, night.id, "comment=First.").await.status, StatusCode::SEE_OTHER);
    let told = "night_on=2026-11-24&skin=a+blister";
    bench.post("/loans/1/diary", &bench.token(Role::Desk).await, told).await;
    let physician = bench.token(Role::Physician).await;
    let page = bench.get(&format!("/nights/{}/report", night.id), &physician).await.text;
    let at = |words: &str| page.find(words).unwrap_or_else(|| panic!("{words}: {page}"));
    let password = at("name=\"password\"");
    assert!(at("Learnt since its report was signed") < password);
    assert!(at("skin: a blister") < password && at("class=\"headline\"") < password);
    // The row to be interpreted says what the row to be read said.
    let list = bench.get("/nights", &physician).await.text;
    let row = list.split("id=\"signed\"").nth(1).unwrap().split("</section>").next().unwrap();
    assert!(row.contains(&why), "{why}: {row}");
    assert!(row.contains("skin: a blister"), "{row}");
}

/// A physician who signs anew after a withdrawal begins from nothing that was withdrawn, and is told why it was.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_signed_after_a_withdrawal_says_so_and_begins_from_no_words_of_it() {
    let (bench, night) = read().await;
    signed(&bench, night.id, "comment=First.").await;
    interpreted(&bench, night.id, "interpretation=Wrong+in+every+word.").await;
    act(&bench, night.id, "withdraw", "another+patient").await;
    let reads = bench.token(Role::Physiologist).await;
    let page = bench.get(&format!("/nights/{}/report", night.id), &reads).await.text;
    assert!(page.contains("What changed since version 2, which was withdrawn"), "{page}");
    assert!(page.contains("It begins as version 2 had it, which was withdrawn"), "{page}");
    let done = signed(&bench, night.id, "comment=First.&changed=read+anew").await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    let physician = bench.token(Role::Physician).await;
    let page = bench.get(&format!("/nights/{}/report", night.id), &physician).await.text;
    assert!(!page.contains("Wrong in every word."), "{page}");
    let box_at = page.find("report withdrawn, then replaced").unwrap();
    assert!(box_at < page.find("name=\"password\"").unwrap() && page.contains("Another patient."));
    let paper = bench.get(&format!("/nights/{}/reports/4", night.id), &physician).await.text;
    assert!(paper.contains("ersion 2 of this report was withdrawn on"), "{paper}");
    assert!(
        paper.contains("another patient")
            && paper.contains("in place of version 2, which was withdrawn")
    );
}

/// The list of nights asks the record as often for many as for one.
#[tokio::test(flavor = "multi_thread")]
async fn r21_the_list_of_nights_asks_the_record_no_more_often_for_more_nights() {
    let (bench, _) = read().await;
    let token = bench.token(Role::Physiologist).await;
    let asked = async || {
        // The first look opens each night to draw it; that is kept.
        bench.get("/nights", &token).await;
        store::record::db::counted(bench.get("/nights", &token)).await
    };
    let (one, few) = asked().await;
    for n in 2..6 {
        crate::lent::lend(&bench.store, n, ("Bolster", "Ben"), crate::night::EVENING)
            .await
            .unwrap();
        let bytes = [crate::night::file(), format!("# {n}\n").into_bytes()].concat();
        let name = format!("TC-100{n}.csv");
        let file = store::intake::receive::Incoming {
            name,
            bytes,
            ..store::intake::receive::Incoming::default()
        };
        bench.store.receive(&Author::program(), file).await.unwrap();
    }
    let (all, many) = asked().await;
    let rows = |got: &Got| got.text.matches("class=\"wait ").count();
    assert_eq!((rows(&one), rows(&all)), (1, 5), "{}", all.text);
    assert_eq!(few, many);
}
