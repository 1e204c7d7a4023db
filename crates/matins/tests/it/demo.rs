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
