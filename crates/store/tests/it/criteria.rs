//! A department's own criteria: drafted, tried on past nights, adopted, gone back from.

use std::fmt::Write as _;
use std::sync::Arc;

use engine::judge::Answer;
use engine::judge::Decision;
use store::criteria::adoption::Begin;
use store::criteria::adoption::Draft;
use store::criteria::adoption::Known;
use store::criteria::adoption::sound as sound_set;
use store::criteria::rerun::Choice;
use store::criteria::rerun::Ended;
use store::criteria::rerun::Rerun;
use store::criteria::rerun::words;
use store::error::StoreError;
use store::people::person::ReferralForm;
use store::reading::compare::Choice as Side;
use store::reading::edit::Change;
use store::reading::steps::Step;
use store::record::db::Store;
use store::record::tables::Night;
use store::record::tables::Original;
use store::record::tables::Outcome;
use store::words::Role;
use store::words::Urgency;

use crate::full::by;
use crate::made;
use crate::morning::evening;
use crate::morning::lent;
use crate::morning::receive;
use crate::morning::sound;

const SET: &str = "adult-air";

fn reader() -> store::record::act::Author {
    by(Role::Physiologist)
}

async fn begin(store: &Store, name: &str, begin: Begin) -> Draft {
    store.begin_draft(&reader(), name, &begin).await.unwrap()
}

/// The draft with one value more under `[judge]`.
async fn with(store: &Store, draft: &Draft, line: &str) -> Draft {
    let text = format!("{}\n[judge]\n{line}\n", draft.text);
    store.save_draft(&reader(), &draft.name, draft.id, &text).await.unwrap()
}

/// So many hours of both channels are asked of a night.
async fn hours(store: &Store, draft: &Draft, hours: &str) -> Draft {
    let line = format!("tcpco2_least_h = {{ value = {hours}, source = \"department setting\" }}");
    with(store, draft, &line).await
}

async fn unrun(
    store: &Store,
    draft: &Draft,
    why: &str,
) -> Result<store::criteria::adoption::Adopted, StoreError> {
    let known = Known::Not(why.to_owned());
    store.adopt(&reader(), &draft.name, draft.id, "short nights misled us", &known).await
}

/// A night on which nothing happens: eight hours, a row each ten seconds, CO2 between 5.20 and 5.28 kPa.
fn calm() -> Vec<u8> {
    let mut text = "time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)\n".to_owned();
    for row in 0..2_880 {
        let at = evening() + jiff::SignedDuration::from_secs(row * 10);
        let co2 = 520 + row / 6 % 9;
        let _ =
            writeln!(text, "{at},{},{},{}.{}", 94 + row % 3, 60 + row % 7, co2 / 100, co2 % 100);
    }
    text.into_bytes()
}

async fn night(store: &Store) -> Night {
    lent(store, 1, "TC-1042").await;
    receive(store, "TC-1042.csv", calm()).await.nights.remove(0)
}

async fn run(store: &Store, choice: Choice) -> Arc<Rerun> {
    let rerun = Arc::new(store.choose_nights(&reader(), SET, choice).await.unwrap());
    rerun.clone().run(store.clone()).await;
    rerun
}

async fn holds(store: &Store) -> String {
    store.read().await.unwrap().criteria(SET).await.unwrap().version
}

on_both! {
    async fn a_set_is_drafted_adopted_and_gone_back_from_as_versions(desk) {
        let store = &desk.store;
        let draft = begin(store, SET, Begin::Holding).await;
        assert_eq!((draft.began.as_str(), holds(store).await.as_str()), ("adult-air 2026.1", "2026.1"));
        let draft = hours(store, &draft, "5").await;
        // A draft changes nothing yet.
        assert_eq!(holds(store).await, "2026.1");
        assert!(unrun(store, &draft, " ").await.unwrap_err().is("not_run"));
        let first = unrun(store, &draft, "no night was read yet").await.unwrap();
        assert_eq!((first.version.as_str(), holds(store).await.as_str()), ("2026.1-1", "2026.1-1"));
        assert_eq!(store.read().await.unwrap().set_draft(SET).await.unwrap(), None);
        // Who still has the page of the draft open cannot adopt it a second time.
        let late = unrun(store, &draft, "clicked twice").await;
        assert!(matches!(late, Err(StoreError::Changed { .. })), "{late:?}");
        let draft = begin(store, SET, Begin::Shipped(SET.to_owned())).await;
        let second = unrun(store, &draft, "as shipped").await.unwrap();
        let draft = begin(store, SET, Begin::Version(first.setting)).await;
        let third = unrun(store, &draft, "as it was").await.unwrap();
        assert_eq!([second.version.as_str(), third.version.as_str()], ["2026.1-2", "2026.1-3"]);
        let mut conn = store.read().await.unwrap();
        let kept = conn.set_versions(SET).await.unwrap();
        assert_eq!(kept.len(), 3);
        assert_eq!(kept[0].value.replace("2026.1-3", "2026.1-1"), kept[2].value);
        let why: Vec<String> = conn.adoptions(SET).await.unwrap().into_iter().map(|one| one.unrun_because).collect();
        assert_eq!(why, ["as it was", "as shipped", "no night was read yet"]);
        drop(conn);
        sound(store).await;
    }

    async fn what_is_not_sound_or_not_honest_is_not_adopted(desk) {
        let store = &desk.store;
        let draft = begin(store, SET, Begin::Holding).await;
        let lines = |more: &str| format!("name = \"adult-air\"\nversion = \"9\"\ntitle = \"x\"\nbased_on = \"adult-air\"\n{more}");
        let borrowed = lines("[judge]\nspo2_least_h = { value = 5, source = \"griffon-2020\" }\n");
        assert_eq!(
            sound_set(SET, &borrowed).unwrap_err().to_string(),
            "judge.spo2_least_h is 5, and its source griffon-2020 gives 4"
        );
        let published = lines("[[rule]]\nid = \"odi4_at_least_5_per_h\"\nasks = \"x\"\nsource = \"department setting\"\ntest = { kind = \"events\", measure = \"spo2.odi4\", per_h = { at_least = 6 } }\n");
        for (text, code) in [
            ("this is no set", "criteria_wrong"),
            (borrowed.as_str(), "source_wrong"),
            (published.as_str(), "rule_named"),
            (&lines("").replace("name = \"adult-air\"", "name = \"child\""), "set_name"),
            (&lines("").replace("version = \"9\"", "version = \"2026.1\""), "version_taken"),
            (&lines("[judge]\nspo2_least_h = { value = 500, source = \"department setting\" }\n"), "criteria_wrong"),
        ] {
            let seen = store.read().await.unwrap().set_draft(SET).await.unwrap().unwrap().id;
            let saved = store.save_draft(&reader(), SET, seen, text).await.unwrap();
            let refused = unrun(store, &saved, "to see it refused").await.unwrap_err();
            assert!(refused.is(code), "{code}: {refused}");
        }
        assert_eq!(holds(store).await, "2026.1");
        let late = store.save_draft(&reader(), SET, draft.id, "x").await;
        assert!(matches!(late, Err(StoreError::Changed { .. })), "{late:?}");
        assert!(store.begin_draft(&reader(), SET, &Begin::Holding).await.unwrap_err().is("draft_there"));
        for role in [Role::Desk, Role::Governance, Role::Administrator] {
            let refused = store.begin_draft(&by(role), "child", &Begin::Holding).await;
            assert!(refused.unwrap_err().is("not_yours_to_change"));
        }
        for name in ["", "a", "Adult", "../x", "x-", "9lives"] {
            let refused = store.begin_draft(&reader(), name, &Begin::Shipped(SET.to_owned())).await;
            assert!(refused.unwrap_err().is("set_name"), "{name}");
        }
    }

    async fn a_run_tells_the_verdict_that_changes_and_changes_nothing(desk) {
        let store = &desk.store;
        let came = night(store).await;
        let draft = begin(store, SET, Begin::Holding).await;
        // The night has 8 h of CO2, and its question is one of CO2.
        let draft = hours(store, &draft, "9").await;
        let rerun = run(store, Choice::default()).await;
        let state = rerun.state();
        assert_eq!((state.chosen, state.ran(), state.ended.clone()), (1, 1, Some(Ended::Whole)));
        let one = &state.changed[0];
        assert_eq!((one.night, one.verdict, one.turned().count()), (came.id, (Decision::Sufficient, Decision::Repeat), 0));
        assert_eq!(words(&state), ["Of 1 night 1 verdict changes: 1 sufficient to repeat.", "No figure moves."]);
        assert_eq!(store.read().await.unwrap().get::<Night>(came.id).await.unwrap(), came);
        let ran = rerun.ran().unwrap();
        // Another text is not what was run.
        let other = store.save_draft(&reader(), SET, draft.id, &format!("{}\n# more\n", draft.text)).await.unwrap();
        let known = Known::Ran(ran.clone());
        let refused = store.adopt(&reader(), SET, other.id, "x", &known).await;
        assert!(refused.unwrap_err().is("ran_other"));
        let same = store.save_draft(&reader(), SET, other.id, &draft.text).await.unwrap();
        let adopted = store.adopt(&reader(), SET, same.id, "x", &known).await.unwrap();
        assert_eq!((adopted.showed, adopted.unrun_because.as_str()), (words(&state), ""));
        sound(store).await;
    }

    async fn rules_that_turn_and_figures_that_move_are_told(desk) {
        let store = &desk.store;
        night(store).await;
        let draft = begin(store, SET, Begin::Holding).await;
        // All of the night's CO2 lies under 6 kPa: as if the sensor had never been on.
        let text = format!("{}\n[screen]\ntcpco2_off_below_kpa = {{ value = 6, source = \"department setting\" }}\n", draft.text);
        store.save_draft(&reader(), SET, draft.id, &text).await.unwrap();
        let state = run(store, Choice::default()).await.state();
        let turned: Vec<_> = state.changed[0].turned().map(|rule| (rule.id.as_str(), rule.before, rule.after)).collect();
        let (not_met, cannot_tell) = (Some(Answer::NotMet), Some(Answer::CannotTell));
        assert!(turned.contains(&("co2_above_55mmhg_10min", not_met, cannot_tell)), "{turned:?}");
        let mean = state.changed[0].figures.iter().find(|one| one.id == "tcpco2.mean").unwrap();
        assert!(mean.before.is_some_and(|kpa| (kpa - 5.24).abs() < 0.01) && mean.after.is_none(), "{mean:?}");
        let says = words(&state).join(" ");
        assert!(says.contains("“CO2 above 55 mmHg (7.33 kPa) for 10 minutes or longer” turns on 1 night: 1 not met to cannot tell."), "{says}");
        assert!(says.contains("Figures move on 1 night."), "{says}");
    }

    async fn a_rule_no_longer_asked_and_one_the_draft_alone_asks_are_told(desk) {
        let store = &desk.store;
        night(store).await;
        let draft = begin(store, SET, Begin::Holding).await;
        let rules = "rules = [\"odi4_at_least_5_per_h\", \"co2_above_6_5kpa_peak\", \"co2_above_4kpa_peak\"]\nquestion = []\n[[rule]]\nid = \"co2_above_4kpa_peak\"\nasks = \"peak CO2 above 4 kPa\"\nsource = \"department setting\"\ntest = { kind = \"extreme\", channel = \"tcpco2\", level = { above = 4, unit = \"kPa\" } }\n";
        store.save_draft(&reader(), SET, draft.id, &format!("{}\n{rules}", draft.text)).await.unwrap();
        let rerun = run(store, Choice { every_set: true, ..Choice::default() }).await;
        let state = rerun.state();
        let of = |id: &str| state.changed[0].rules.iter().find(|rule| rule.id == id).map(|rule| (rule.before, rule.after));
        assert_eq!(of("co2_above_4kpa_peak"), Some((None, Some(Answer::Met))));
        // The night's CO2 stands between 5.0 and 5.9 kPa.
        assert_eq!(of("co2_above_55mmhg_10min").map(|both| both.1), Some(None));
        assert_eq!(of("odi4_at_least_5_per_h"), None);
        let says = words(&state).join(" ");
        assert!(says.contains("Only the draft asks “peak CO2 above 4 kPa”: 1 met."), "{says}");
    }

    async fn the_next_scoring_uses_the_adopted_set_and_an_old_result_keeps_its_own(desk) {
        let store = &desk.store;
        let came = night(store).await;
        let draft = begin(store, SET, Begin::Holding).await;
        let draft = hours(store, &draft, "5").await;
        let adopted = unrun(store, &draft, "one night only").await.unwrap();
        let mut conn = store.read().await.unwrap();
        let old: Outcome = conn.get(came.result.unwrap()).await.unwrap();
        assert_eq!(conn.criteria_used(&old).await.unwrap().version, "2026.1");
        let held = conn.held(&came).await.unwrap();
        drop(conn);
        let side = |set: Option<&str>| Side { night: came.id, version: None, criteria: set.map(str::to_owned) };
        let beside = store.beside(came.person.unwrap(), vec![side(None), side(Some(SET))]).await.unwrap();
        let versions: Vec<&str> = beside.iter().map(|one| one.criteria.version.as_str()).collect();
        assert_eq!(versions, ["2026.1", "2026.1-1"]);
        let recording = Arc::new(held.recording().unwrap());
        let step = Step::Change(Change::Criteria { name: SET.to_owned() });
        let done = store.step(&reader(), came.id, came.act, step, recording).await.unwrap();
        assert_eq!((done.outcome.criteria_version.as_str(), done.outcome.criteria_sha256.as_str()), ("2026.1-1", adopted.sha256.as_str()));
        assert!(done.outcome.scores.contains("2026.1-1"));
        let mut conn = store.read().await.unwrap();
        assert_eq!(conn.criteria_used(&done.outcome).await.unwrap().version, "2026.1-1");
    }

    async fn a_night_whose_bytes_are_gone_is_counted_and_a_stopped_run_proves_nothing(desk) {
        let store = &desk.store;
        let came = night(store).await;
        begin(store, SET, Begin::Holding).await;
        let stopped = Arc::new(store.choose_nights(&reader(), SET, Choice::default()).await.unwrap());
        stopped.stop();
        stopped.clone().run(store.clone()).await;
        assert_eq!((stopped.state().ended, stopped.ran()), (Some(Ended::Stopped), None));
        let mut act = store.act(&reader(), "test").await.unwrap();
        let mut original: Original = act.get(came.original).await.unwrap();
        original.destroyed_at = Some(act.at());
        act.put(&mut original).await.unwrap();
        act.close().await.unwrap();
        let state = run(store, Choice::default()).await.state();
        assert_eq!((state.done, state.gone, state.ran()), (1, 1, 0));
        assert!(words(&state).contains(&"The bytes of 1 night were destroyed: not run.".to_owned()));
        let none = run(store, Choice { days: 1, ..Choice::default() }).await.state();
        assert!(none.chosen <= 1);
    }

    async fn a_set_under_a_new_name_can_be_asked_of_a_referral(desk) {
        let store = &desk.store;
        let person = made::study(store, 1).await.person;
        let form = ReferralForm {
            person,
            asked_by: "Dr Duvet".to_owned(),
            received_on: "2026-11-20".to_owned(),
            question: "oxygenation".to_owned(),
            words: String::new(),
            support: String::new(),
            urgency: Urgency::Routine,
            criteria: "quiet-ward".to_owned(),
        };
        let clerk = made::desk_clerk();
        assert!(store.add_referral(&clerk, form.clone()).await.unwrap_err().is("criteria_unknown"));
        let draft = begin(store, "quiet-ward", Begin::Shipped(SET.to_owned())).await;
        unrun(store, &draft, "nobody was read by it").await.unwrap();
        let names = store.read().await.unwrap().set_names().await.unwrap();
        assert_eq!(names.last().map(String::as_str), Some("quiet-ward"));
        assert_eq!(names.len(), 6);
        store.add_referral(&clerk, form.clone()).await.unwrap();
        let wrong = ReferralForm { question: "no_question".to_owned(), ..form };
        assert!(store.add_referral(&clerk, wrong).await.unwrap_err().is("question_unknown"));
    }
}
