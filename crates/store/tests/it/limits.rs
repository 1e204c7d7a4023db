//! The record refuses what no row is for, whoever calls.

use std::time::Duration;

use store::error::StoreError;
use store::lending::monitor::ConsumableForm;
use store::lending::monitor::MonitorForm;
use store::people::person::PersonForm;
use store::record::act::Author;
use store::record::tables::Person;
use store::text;
use store::words::ConsumableKind;

fn person(family: &str) -> PersonForm {
    PersonForm {
        mrn: "LM 1".to_owned(),
        family: family.to_owned(),
        given: "Petra".to_owned(),
        born_on: "1951-05-02".to_owned(),
        ..PersonForm::default()
    }
}

on_both! {
    async fn r014_the_record_refuses_texts_that_are_too_long_or_hold_hidden_signs_whoever_calls(desk) {
        let (store, by) = (&desk.store, Author::program());
        for (family, code) in [
            ("x".repeat(900_000), "text_too_long"),
            ("x".repeat(text::NAME + 1), "text_too_long"),
            ("a\0b".to_owned(), "value_unfit"),
            ("a\u{202e}b".to_owned(), "text_sign"),
            ("a\u{1b}[2Jb".to_owned(), "text_sign"),
        ] {
            let error = store.add_person(&by, &person(&family)).await.unwrap_err();
            assert!(error.is(code), "{error}");
            // The same by hand, without the desk's own rules.
            let mut act = store.act(&by, "person.enter").await.unwrap();
            let mut row = Person {
                id: 0, act: 0, mrn: "LM 1".to_owned(), nhs_number: None, family, given: "P".to_owned(),
                born_on: "1951-05-02".to_owned(), telephone: None, address: None, needs: None,
                voided_at: None, voided_because: None, same_as: None,
            };
            assert!(act.put(&mut row).await.unwrap_err().is(code));
            drop(act);
            let mut act = store.act(&by, "look").await.unwrap();
            act.because(format!("{:.300}", row.family).repeat(101));
            assert!(matches!(act.close().await, Err(StoreError::Refused(_))));
        }
        let taken = store.add_person(&by, &person(&"\u{e9}".repeat(text::NAME))).await;
        assert_eq!(taken.unwrap().family.chars().count(), text::NAME);
    }

    async fn no_text_that_is_asked_for_breaks_a_search(desk) {
        let mut conn = desk.store.read().await.unwrap();
        for text in ["a\0b".to_owned(), "%".repeat(100_000)] {
            let found = conn.find::<Person>("WHERE mrn = $1", &[text.as_str().into()]).await;
            assert!(found.is_err_and(|error| error.is("text_unasked")));
        }
        drop(conn);
        let tried = desk.store.log_in("a\0b", "whatever it is", "192.0.2.1", 900).await.unwrap();
        assert!(matches!(tried, store::login::session::LogIn::Wrong));
    }

    /// A number at the ends of what a number can be is refused, and nothing is summed up with it.
    async fn numbers_out_of_their_range_are_refused(desk) {
        let (store, by) = (&desk.store, Author::program());
        for value_pence in [-1, i64::MIN, i64::MAX] {
            let form = MonitorForm { serial: "S".to_owned(), value_pence, ..MonitorForm::default() };
            assert!(store.add_monitor(&by, form).await.unwrap_err().is("number_wrong"));
        }
        for (received, co2_percent) in [
            (-1, None), (0, None), (i64::MAX, None), (1, Some(0.0)), (1, Some(-0.0)), (1, Some(100.5)), (1, Some(f64::NAN)), (1, Some(-1.0)), (1, Some(f64::INFINITY)),
        ] {
            let form = ConsumableForm {
                kind: ConsumableKind::Gas, lot: "L".to_owned(), expires_on: String::new(), received,
                co2_percent,
            };
            let error = store.add_consumable(&by, form).await.unwrap_err();
            assert!(error.is("number_wrong") || error.is("co2_wrong"), "{error}");
        }
        assert_eq!(store::lending::loan::evenings(jiff::civil::date(2026, 11, 24), i64::MAX).len(), 400);
        tokio::time::timeout(Duration::from_mins(1), store.read()).await.unwrap().unwrap();
    }
}
