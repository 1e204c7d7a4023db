//! Whose night it is, over HTTP: every loan in sight, two people against a doubt, untied, replaced, and told.

use axum::http::StatusCode;
use store::intake::receive::Incoming;
use store::login::session::LogIn;
use store::record::act::Author;
use store::record::tables::Check;
use store::record::tables::Night;
use store::words::NightStatus;
use store::words::Role;

use crate::ask::Bench;
use crate::ask::PASSWORD;
use crate::ask::bench;
use crate::lent::lend;
use crate::night::EVENING;
use crate::night::file;

/// Two people with a loan each of the same evening, and two who may settle.
async fn two_loans(bench: &Bench) -> String {
    for role in [Role::Physiologist, Role::Physician, Role::Desk] {
        bench.account(role).await;
    }
    let (by, role) = (Author::program(), Role::Physiologist);
    bench.store.make_account_with(&by, "second", "Sam Second", role, PASSWORD).await.unwrap();
    lend(&bench.store, 1, ("Nightcap", "Nell"), EVENING).await.unwrap();
    lend(&bench.store, 2, ("Bolster", "Ben"), EVENING).await.unwrap();
    match bench.store.log_in("second", PASSWORD, "192.0.2.1", 900).await.unwrap() {
        LogIn::Done { token, .. } => token,
        other => panic!("{other:?}"),
    }
}

async fn came(bench: &Bench, name: &str, bytes: Vec<u8>) -> Night {
    let file = Incoming { name: name.to_owned(), bytes, ..Incoming::default() };
    bench.store.receive(&Author::program(), file).await.unwrap().nights.remove(0)
}

async fn now(bench: &Bench, id: i64) -> Night {
    bench.store.read().await.unwrap().get(id).await.unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_night_in_doubt_shows_every_loan_and_is_tied_against_a_doubt_by_two() {
    let bench = bench().await;
    let second = two_loans(&bench).await;
    let night = came(&bench, "TC-1001 of Bolster.csv", file()).await;
    assert_eq!(
        night.status,
        NightStatus::Untied,
        "another patient of the record stands in its name"
    );
    let token = bench.token(Role::Physiologist).await;
    let path = format!("/nights/{}/settle", night.id);
    let page = bench.get(&path, &token).await;
    for words in [
        "NIGHTCAP, Nell",
        "BOLSTER, Ben",
        "The file names its monitor, M-0001-X.",
        "The file names monitor M-0001-X, and loan L-00002-X had M-0002-X.",
        "It lies within the loan",
        "Two people are needed.",
    ] {
        assert!(page.text.contains(words), "{words} is not in {}", page.text);
    }
    let unsaid = bench.post(&path, &token, "loan=2").await;
    assert_eq!(unsaid.status, StatusCode::UNPROCESSABLE_ENTITY);
    let done = bench.post(&path, &token, "loan=2&reason=the+bag+said+so").await;
    assert_eq!((done.status, done.header("location")), (StatusCode::SEE_OTHER, path.as_str()));
    assert_eq!(now(&bench, night.id).await.loan, None);
    let own = bench.get(&path, &token).await;
    assert!(own.text.contains("You proposed it") && !own.text.contains("/ties/1/confirm"));
    let again = bench.post("/ties/1/confirm", &token, "reason=me+again").await;
    assert_eq!(now(&bench, night.id).await.loan, None, "{}", again.text);
    let list = bench.get("/nights", &second).await;
    assert!(list.text.contains("waits for a second person"), "{}", list.text);
    let unsaid = bench.post("/ties/1/confirm", &second, "reason=").await;
    assert_eq!(unsaid.status, StatusCode::UNPROCESSABLE_ENTITY);
    let done = bench.post("/ties/1/confirm", &second, "reason=I+saw+the+label").await;
    assert_eq!(done.header("location"), format!("/nights/{}", night.id), "{}", done.text);
    assert_eq!(now(&bench, night.id).await.loan, Some(2));
    for place in ["", "/report/preview"] {
        let page = bench.get(&format!("/nights/{}{place}", night.id), &second).await;
        for words in [
            "To be known of this night",
            "tied by hand by Bo physiologist, agreed by Sam Second",
            "the bag said so",
            "names monitor M-0001-X",
        ] {
            assert!(page.text.contains(words), "{place}: {words} is not in {}", page.text);
        }
    }
    let list = bench.get("/nights", &second).await;
    assert!(list.text.contains("tied by hand by"), "{}", list.text);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_loan_that_is_not_listed_is_looked_up_by_its_number_and_settled() {
    let bench = bench().await;
    two_loans(&bench).await;
    let long_ago = EVENING - 40 * 86_400;
    lend(&bench.store, 3, ("Quilt", "Queenie"), long_ago).await.unwrap();
    let token = bench.token(Role::Physiologist).await;
    let night = came(&bench, "TC-1001 of Bolster.csv", file()).await;
    let path = format!("/nights/{}/settle", night.id);
    let page = bench.get(&path, &token).await;
    assert!(!page.text.contains("QUILT") && page.text.contains("A loan that is not listed"));
    for (find, says) in [("", "Fill this in."), ("L-99999-X", "No loan that went out is found")] {
        let got = bench.post(&path, &token, &format!("find={find}")).await;
        assert_eq!(got.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(got.text.contains(says), "{}", got.text);
    }
    let unlisted = bench.post(&path, &token, "loan=3&reason=the+diary").await;
    assert_eq!(unlisted.status, StatusCode::UNPROCESSABLE_ENTITY, "only what was seen is settled");
    let got = bench.post(&path, &token, "find=LM+000+003").await;
    assert_eq!(got.status, StatusCode::OK);
    for words in ["QUILT, Queenie", "looked up", "does not lie within loan L-00003-X"] {
        assert!(got.text.contains(words), "{words} is not in {}", got.text);
    }
    let found = crate::night::hidden(&got.text, "found");
    let done = bench.post(&path, &token, &format!("loan=3&reason=the+diary&found={found}")).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    let tie = bench.store.read().await.unwrap().proposal(night.id).await.unwrap().unwrap();
    assert_eq!(tie.loan, 3);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_proposal_is_declined_and_a_tied_night_untied_and_set_aside_on_their_pages() {
    let bench = bench().await;
    let second = two_loans(&bench).await;
    let token = bench.token(Role::Physiologist).await;
    let night = came(&bench, "TC-1001.csv", file()).await;
    let untie = format!("/nights/{}/untie", night.id);
    let page = bench.get(&untie, &token).await;
    assert!(
        page.text.contains("NIGHTCAP, Nell") && page.text.contains("It found its loan by itself.")
    );
    assert_eq!(
        bench.post(&untie, &token, "reason=").await.status,
        StatusCode::UNPROCESSABLE_ENTITY
    );
    let done = bench.post(&untie, &token, "reason=the+other+bag").await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    assert_eq!(now(&bench, night.id).await.status, NightStatus::Untied);
    bench.post(&format!("/nights/{}/settle", night.id), &token, "loan=2&reason=perhaps").await;
    let refused = bench.post("/ties/1/decline", &second, "reason=").await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", refused.text);
    let done = bench.post("/ties/1/decline", &second, "reason=the+serial+is+another").await;
    assert_eq!(done.status, StatusCode::SEE_OTHER);
    let aside = bench
        .post(&format!("/nights/{}/aside", night.id), &token, "reason=tried+at+the+desk")
        .await;
    assert_eq!(aside.status, StatusCode::SEE_OTHER, "{}", aside.text);
    assert_eq!(now(&bench, night.id).await.status, NightStatus::SetAside);
    // None of it is the desk's or the physician's.
    for role in [Role::Desk, Role::Physician] {
        let token = bench.token(role).await;
        assert_eq!(bench.get(&untie, &token).await.status, StatusCode::FORBIDDEN);
        assert_eq!(
            bench.post("/ties/1/confirm", &token, "reason=x").await.status,
            StatusCode::FORBIDDEN
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_better_file_takes_the_place_of_the_worse_on_its_page() {
    let bench = bench().await;
    two_loans(&bench).await;
    let token = bench.token(Role::Physiologist).await;
    let old = came(&bench, "TC-1001.csv", file()).await;
    let mut bytes = file();
    bytes.extend(b"# exported again\n");
    let new = came(&bench, "TC-1001 again.csv", bytes).await;
    let settle = bench.get(&format!("/nights/{}/settle", new.id), &token).await;
    assert!(settle.text.contains("It takes the place of"), "{}", settle.text);
    let path = format!("/nights/{}/replace", new.id);
    let page = bench.get(&path, &token).await;
    assert!(page.text.contains(&format!("night {} of NIGHTCAP, Nell", old.id)), "{}", page.text);
    let fields = format!("old={}", old.id);
    assert_eq!(bench.post(&path, &token, &fields).await.status, StatusCode::UNPROCESSABLE_ENTITY);
    let done = bench.post(&path, &token, &format!("{fields}&reason=CO2+was+missing")).await;
    assert_eq!(done.header("location"), format!("/nights/{}", new.id), "{}", done.text);
    assert_eq!(now(&bench, old.id).await.replaced_by, Some(new.id));
    let page = bench.get(&format!("/nights/{}/settle", old.id), &token).await;
    assert!(page.text.contains(&format!("Night {} stands in its place.", new.id)));
    // The patient's row is not voided from under the night.
    let person = now(&bench, new.id).await.person.unwrap();
    let desk = bench.token(Role::Desk).await;
    let void = bench.post(&format!("/people/{person}/void"), &desk, "reason=a+double").await;
    assert_eq!(void.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(void.text.contains("correct this row"), "{}", void.text);
    let restore = format!("/people/{person}/restore");
    let stands = bench.post(&restore, &desk, "reason=why+not").await;
    assert!(stands.text.contains("is not void"), "{}", stands.text);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_check_that_came_later_is_taken_up_by_the_reader_and_a_wrong_one_is_voided() {
    let bench = bench().await;
    two_loans(&bench).await;
    let token = bench.token(Role::Physiologist).await;
    let night = came(&bench, "TC-1001.csv", file()).await;
    let mut act = bench.store.act(&Author::program(), "monitor.check").await.unwrap();
    let mut check = Check {
        id: 0,
        act: 0,
        monitor: 1,
        loan: Some(1),
        at: night.end_at + 600,
        who: "desk".to_owned(),
        made: store::words::CheckWhen::After,
        gas: None,
        expected_kpa: Some(5.0),
        observed_kpa: Some(5.300_000_000_000_001),
        pressure_kpa: None,
        clock_ahead_s: Some(0),
        parts: store::record::row::Kept(Vec::new()),
        missing: store::record::row::Kept(Vec::new()),
        passed: true,
        note: None,
        voided_at: None,
        voided_by: None,
        voided_because: None,
    };
    act.put(&mut check).await.unwrap();
    act.close().await.unwrap();
    let page = bench.get(&format!("/nights/{}", night.id), &token).await;
    assert!(page.text.contains("came after this night was scored. Take it up?"), "{}", page.text);
    let take = format!("/nights/{}/take-check", night.id);
    let wrong = bench.post(&take, &token, &format!("seen={}&check=99", night.act)).await;
    assert_eq!(wrong.status, StatusCode::BAD_REQUEST);
    let done = bench.post(&take, &token, &format!("seen={}&check={}", night.act, check.id)).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    assert!(now(&bench, night.id).await.notes.contains("observed_kpa = 5.300000000000001"));
    let page = bench.get(&format!("/nights/{}", night.id), &token).await.text;
    assert!(page.contains("gas check: 5.00 kPa expected, 5.30 kPa read"), "{page}");
    assert!(page.contains("Took up the gas check of 2026-11-25 06:"), "{page}");
    let desk = bench.token(Role::Desk).await;
    let void = format!("/checks/{}/void", check.id);
    assert_eq!(bench.post(&void, &desk, "reason=").await.status, StatusCode::CONFLICT);
    assert_eq!(bench.post(&void, &desk, "reason=typed+wrong").await.status, StatusCode::SEE_OTHER);
    let page = bench.get(&format!("/nights/{}", night.id), &token).await;
    assert!(page.text.contains("was voided. Take it out?"), "{}", page.text);
    let drop = format!("/nights/{}/drop-check", night.id);
    let seen = now(&bench, night.id).await.act;
    let done = bench.post(&drop, &token, &format!("seen={seen}&check={}", check.id)).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    assert!(!now(&bench, night.id).await.notes.contains("gas_check"));
    let monitor = bench.get("/monitors/1", &desk).await;
    assert!(
        monitor.text.contains("typed wrong") && monitor.text.contains("Voided"),
        "{}",
        monitor.text
    );
}

/// R35: a diary that came when its night was being read reached nobody, and the desk was told that all is well.
#[tokio::test(flavor = "multi_thread")]
async fn r035_a_diary_that_came_late_is_told_to_who_entered_it_and_to_its_reader() {
    let bench = bench().await;
    two_loans(&bench).await;
    let mut night = came(&bench, "TC-1001.csv", file()).await;
    let mut act = bench.store.act(&Author::program(), "night.change").await.unwrap();
    night.status = NightStatus::Reading;
    act.put(&mut night).await.unwrap();
    act.close().await.unwrap();
    let desk = bench.token(Role::Desk).await;
    let fields = "night_on=2026-11-24&lights_out=22:40";
    let done = bench.post("/loans/1/diary", &desk, fields).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    let page = bench.get("/loans/1", &desk).await;
    assert!(page.text.contains("its reader is told"), "{}", page.text);
    let token = bench.token(Role::Physiologist).await;
    for path in ["/nights".to_owned(), format!("/nights/{}", night.id)] {
        let page = bench.get(&path, &token).await;
        assert!(page.text.contains("A diary for this night was entered at"), "{}", page.text);
        assert!(page.text.contains("is not taken up: lights out 22:40."), "{}", page.text);
    }
}

/// It was told, and there was no way to take it up.
#[tokio::test(flavor = "multi_thread")]
async fn a_diary_that_came_late_is_taken_up_or_left_out_by_who_may_judge() {
    let bench = bench().await;
    two_loans(&bench).await;
    let mut night = came(&bench, "TC-1001.csv", file()).await;
    let mut act = bench.store.act(&Author::program(), "night.change").await.unwrap();
    night.status = NightStatus::Reading;
    act.put(&mut night).await.unwrap();
    act.close().await.unwrap();
    let desk = bench.token(Role::Desk).await;
    let told =
        "night_on=2026-11-24&lights_out=22:40&representative=no&breathing=air&skin=a+blister";
    bench.post("/loans/1/diary", &desk, told).await;
    let loan = bench.get("/loans/1", &desk).await.text;
    assert!(loan.contains("Skin by the diary") && loan.contains("a blister"), "{loan}");
    let token = bench.token(Role::Physiologist).await;
    let path = format!("/nights/{}", night.id);
    let page = bench.get(&path, &token).await.text;
    for words in
        ["Take the diary up", "Leave it out", "a night like most: no", "Printed otherwise would be"]
    {
        assert!(page.contains(words), "{words}: {page}");
    }
    // A physician sees it, and is not offered what is not theirs to do.
    let physician = bench.token(Role::Physician).await;
    let page = bench.get(&path, &physician).await.text;
    assert!(page.contains("came after this night was judged") && !page.contains("take-diary"));
    let seen = now(&bench, night.id).await.act;
    let diary = store::record::db::Conn::late_diary;
    let waits = diary(&mut bench.store.read().await.unwrap(), &now(&bench, night.id).await).await;
    let fields = format!("seen={seen}&diary={}", waits.unwrap().unwrap().entry.id);
    let (take, leave) = (format!("{path}/take-diary"), format!("{path}/leave-diary"));
    assert_eq!(bench.post(&take, &physician, &fields).await.status, StatusCode::FORBIDDEN);
    let wrong = bench.post(&take, &token, &format!("seen={seen}&diary=99")).await;
    assert_eq!(wrong.status, StatusCode::BAD_REQUEST);
    let unsaid = bench.post(&leave, &token, &format!("{fields}&reason=")).await;
    assert!(unsaid.text.contains("A reason is missing."), "{}", unsaid.text);
    let done = bench.post(&take, &token, &fields).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    let page = bench.get(&path, &token).await.text;
    assert!(
        page.contains("Took up the diary entered at") && !page.contains("is not taken up"),
        "{page}"
    );
    assert!(!page.contains("Take the diary up"), "{page}");
    let report = bench.get(&format!("{path}/report/preview"), &token).await.text;
    for gone in ["is not told", "did not say whether"] {
        assert!(!report.contains(gone), "{gone}: {report}");
    }
    let again = bench.post(&take, &token, &fields).await;
    assert_eq!(again.status, StatusCode::CONFLICT, "{}", again.text);
}

/// R19: a tied night that cannot be scored was in no list.
#[tokio::test(flavor = "multi_thread")]
async fn r019_a_tied_night_that_cannot_be_scored_stands_first_with_the_way_to_mend_it() {
    let bench = bench().await;
    two_loans(&bench).await;
    let token = bench.token(Role::Physiologist).await;
    let night = came(&bench, "TC-1001.csv", file()).await;
    let mut act = bench.store.act(&Author::program(), "referral.wrong").await.unwrap();
    let mut asked: store::record::tables::Referral = act.get(1).await.unwrap();
    "no-such-set".clone_into(&mut asked.criteria);
    act.put(&mut asked).await.unwrap();
    let mut bare = now(&bench, night.id).await;
    (bare.result, bare.notes) = (None, String::new());
    act.put(&mut bare).await.unwrap();
    act.close().await.unwrap();
    let list = bench.get("/nights", &token).await;
    assert!(list.text.contains("1 night is tied and cannot be scored."), "{}", list.text);
    assert!(list.text.contains("no-such-set"));
    let page = bench.get(&format!("/nights/{}", night.id), &token).await;
    assert!(page.status == StatusCode::CONFLICT && page.text.contains("Not scored yet"));
    let score = format!("/nights/{}/score", night.id);
    assert_eq!(bench.post(&score, &token, "").await.status, StatusCode::CONFLICT);
    let mut act = bench.store.act(&Author::program(), "referral.right").await.unwrap();
    "adult-air".clone_into(&mut asked.criteria);
    act.put(&mut asked).await.unwrap();
    act.close().await.unwrap();
    assert_eq!(bench.post(&score, &token, "").await.status, StatusCode::SEE_OTHER);
    assert!(now(&bench, night.id).await.result.is_some());
}
