//! The shipped criteria sets.

use engine::criteria::{Criteria, CriteriaError, shipped, shipped_names, shipped_text};

#[test]
fn every_shipped_set_reads() {
    for name in shipped_names() {
        let set = shipped(name).unwrap();
        assert_eq!(set.name, name);
        assert!(!set.rules.is_empty() && !set.questions.is_empty(), "{name}");
        assert_eq!(set.sha256.len(), 64);
    }
    assert_eq!(shipped_names().len(), 5);
}

#[test]
fn a_set_keeps_what_it_does_not_override() {
    let child = shipped("child").unwrap();
    let adult = shipped("adult-air").unwrap();
    assert_eq!(child.screen.spo2_lowest_pct, adult.screen.spo2_lowest_pct);
    assert!((child.screen.spo2_fastest_pct_per_s.value - 8.0).abs() < 1e-12);
    assert_ne!(child.sha256, adult.sha256);
}

#[test]
fn an_unknown_key_is_refused_by_name() {
    let text = shipped_text("adult-air").unwrap().replace("stuck_s =", "stuk_s =");
    let error = Criteria::parse(&text, &|_| None).unwrap_err().to_string();
    assert!(error.starts_with("criteria adult-air: unknown field `stuk_s`"), "{error}");
}

#[test]
fn a_rule_that_no_one_knows_is_refused() {
    let text =
        shipped_text("adult-air").unwrap().replacen("\"spo2_below_90_30pct\"", "\"spo2_low\"", 1);
    let error = Criteria::parse(&text, &|_| None).unwrap_err();
    assert!(matches!(error, CriteriaError::Unknown { what: "rule", .. }), "{error}");
}

#[test]
fn a_set_is_read_again_from_what_it_keeps_of_its_texts() {
    for name in shipped_names() {
        let set = shipped(name).unwrap();
        let again = Criteria::from_whole(&set.whole).unwrap();
        assert_eq!(again, set, "{name}");
    }
    let mine = "based_on = \"child\"\nname = \"ours\"\nversion = \"1\"\n[screen]\n";
    let ours = Criteria::parse(mine, &|base| shipped_text(base).map(str::to_owned)).unwrap();
    assert_eq!(ours.whole.split('\0').count(), 4, "adult-air, child, ours, the published rules");
    assert_eq!(Criteria::from_whole(&ours.whole).unwrap(), ours);
    assert_eq!(ours.screen, shipped("child").unwrap().screen);
}

#[test]
fn sets_based_on_each_other_and_half_a_text_are_refused() {
    let round = |name: &str| Some(format!("name = \"{name}\"\nbased_on = \"{name}\"\n"));
    let error = Criteria::parse("name = \"a\"\nbased_on = \"b\"", &round).unwrap_err();
    assert!(matches!(error, CriteriaError::Unknown { what: "the set in `based_on`", .. }));
    let error = Criteria::from_whole("name = \"a\"").unwrap_err().to_string();
    assert_eq!(error, "criteria kept: the published rules that belong to it are missing");
}
