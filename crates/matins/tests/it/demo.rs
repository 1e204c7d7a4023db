//! `matins demo`.

use crate::desk::Desk;

#[test]
fn the_demo_makes_a_department_of_nights() {
    let desk = Desk::new();
    let ran = desk.run(&["demo", "--out", "d", "-q"]);
    ran.prints("demo.txt", "");
    let page = desk.text("d/index.html");
    for line in ran.stdout.lines().skip(3).take_while(|line| !line.is_empty()) {
        let Some(file) = line.split(' ').next().filter(|file| !file.is_empty()) else { continue };
        for ending in ["csv", "notes.toml", "truth.json", "html"] {
            let name = format!("{file}.{ending}");
            assert!(desk.path("d").join(&name).is_file(), "{name}");
            assert!(page.contains(&format!("href=\"{name}\"")), "{name} in index.html");
        }
        assert_eq!(desk.path("d").join(format!("{file}.pdf")).is_file(), cfg!(feature = "pdf"));
    }
    desk.run(&["demo", "--out", "d"]).fails(
        1,
        "matins: d: the folder holds something already\n  \
         hint: --out names another, which need not exist\n",
    );
}

/// A demo that was made is gone on with; a day is asked only of a new one.
#[test]
fn a_day_is_not_asked_of_a_demo_that_goes_on() {
    let desk = Desk::new();
    std::fs::create_dir_all(desk.path("d/record")).unwrap();
    desk.run(&["demo", "--data", "d", "--day", "2026-06-15", "--no-open"])
        .fails(2, "matins: d: `--day` is for a new demo; this one goes on from its last act\n");
    desk.run(&["demo", "--out", "d"]).fails(
        1,
        "matins: d: the folder holds something already\n  \
         hint: --out names another, which need not exist\n",
    );
}
