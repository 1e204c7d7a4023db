//! `matins criteria`.

use engine::criteria::shipped_text;

use crate::desk::Desk;

const MEND: &str =
    "  hint: `matins criteria show adult-air` prints a set that is whole; copy it and change it\n";

#[test]
fn the_sets_are_listed() {
    let note =
        "matins: the first is used when none is named; `matins criteria show NAME` prints one\n";
    Desk::new().run(&["criteria"]).prints("criteria-list.txt", note);
    Desk::new().run(&["criteria", "list"]).prints("criteria-list.txt", note);
}

#[test]
fn a_set_is_shown_as_its_file() {
    let text = shipped_text("child").unwrap();
    Desk::new().run(&["criteria", "show", "child"]).is(0, text, "");
}

#[test]
fn a_set_that_is_sound_is_explained_number_by_number() {
    let desk = Desk::new().with("ours.toml", shipped_text("adult-air").unwrap());
    desk.run(&["criteria", "check", "ours.toml"]).prints(
        "criteria-check.txt",
        "matins: ours.toml is sound; `matins score FILE --criteria ours.toml` uses it\n",
    );
}

#[test]
fn a_set_with_an_unknown_key_is_refused() {
    let text = shipped_text("adult-air").unwrap().replace("stuck_s =", "stuk_s =");
    let ran = Desk::new().with("ours.toml", text).run(&["criteria", "check", "ours.toml"]);
    assert!(
        ran.stderr.starts_with(
            "matins: ours.toml: criteria adult-air: unknown field `stuk_s`, expected one of"
        ),
        "{}",
        ran.stderr
    );
    assert!(ran.stderr.ends_with(MEND), "{}", ran.stderr);
    assert_eq!((ran.code, ran.stdout.as_str()), (4, ""));
}

#[test]
fn a_set_no_one_knows_is_refused_by_name() {
    Desk::new().run(&["criteria", "show", "adults"]).fails(
        2,
        "matins: the criteria set `adults` is not known; known are adult-air, adult-neuromuscular, \
         adult-ventilation, child, infant\n  \
         hint: a set of your own is given as a file whose name ends in .toml\n",
    );
}
