//! `matins report`.

use crate::desk::Desk;
use crate::made::quiet_night;

const HEADING: &str = "study_id = \"LM-7\"\npatient = [[\"Name\", \"NIGHTCAP, Nell\"]]\n";

fn desk() -> Desk {
    Desk::new().with("night.csv", quiet_night()).with("heading.toml", HEADING)
}

#[test]
fn a_page_is_written_with_its_heading() {
    let desk = desk();
    desk.run(&["report", "night.csv", "-o", "x.html", "--heading", "heading.toml"]).is(
        0,
        "",
        "matins: criteria adult-air 2026.1, the default; --criteria names another\n\
         matins: wrote x.html\n",
    );
    let page = desk.text("x.html");
    assert!(page.contains("NIGHTCAP, Nell") && page.contains("LM-7"));
    assert_eq!(desk.names(), ["heading.toml", "night.csv", "x.html"]);
}

#[test]
fn a_report_as_data_holds_no_name() {
    let desk = desk();
    let args = ["report", "night.csv", "-o", "-", "--format", "json", "--heading", "heading.toml"];
    let ran = desk.run(&args);
    assert_eq!(ran.code, 0);
    assert!(!ran.stdout.contains("NIGHTCAP"));
    let report: serde_json::Value = serde_json::from_str(&ran.stdout).unwrap();
    assert!(report.is_object());
}

#[test]
fn the_same_night_gives_the_same_page() {
    let desk = desk();
    let page = || desk.run(&["report", "night.csv", "-o", "-", "--format", "html", "-q"]).stdout;
    assert_eq!(page(), page());
}

#[test]
fn a_report_that_stands_is_not_replaced() {
    let desk = desk().with("x.html", "signed");
    desk.run(&["report", "night.csv", "-o", "x.html"]).fails(
        1,
        "matins: x.html: the file stands already and was not replaced\n  hint: --force replaces it\n",
    );
    assert_eq!(desk.text("x.html"), "signed");
    assert_eq!(desk.run(&["report", "night.csv", "-o", "x.html", "--force"]).code, 0);
    assert!(desk.text("x.html").starts_with("<!doctype html>"));
}

#[test]
fn an_ending_that_is_no_report_is_refused() {
    desk().run(&["report", "night.csv", "-o", "x.docx"]).fails(
        2,
        "matins: x.docx: expected a name ending in .pdf, .html or .json\n  \
         hint: --format tells the format where the ending does not\n",
    );
    desk().run(&["report", "night.csv", "-o", "-"]).fails(
        2,
        "matins: standard output has no ending to tell the report's format\n  \
         hint: --format html|json|pdf tells it\n",
    );
    desk().run_with(&["report", "-"], quiet_night().as_bytes()).fails(
        2,
        "matins: a night from standard input has no name to give its report\n  \
         hint: -o names the report\n",
    );
}

#[test]
fn a_heading_with_a_word_no_one_knows_is_refused() {
    let desk = desk().with("heading.toml", "study_id = \"LM-7\"\npatiant = []\n");
    desk.run(&["report", "night.csv", "-o", "x.html", "--heading", "heading.toml"]).fails(
        3,
        "matins: heading.toml: unknown field `patiant`, expected one of `hospital`, `patient`, \
         `study`, `study_id`, `comparison`, `comment`, `signature`, `lang`\n  \
         at: line 2\n  hint: `matins report --help` tells what a heading file holds\n",
    );
    assert_eq!(desk.names(), ["heading.toml", "night.csv"]);
}

#[cfg(not(feature = "pdf"))]
#[test]
fn a_build_without_pdf_says_so() {
    desk().run(&["report", "night.csv", "-o", "x.pdf"]).fails(
        2,
        "matins: this build has no PDF\n  hint: a name ending in .html gives a page; `cargo build` \
         without --no-default-features has PDF\n",
    );
}

#[cfg(feature = "pdf")]
#[test]
fn a_pdf_is_written_the_same_each_time() {
    let desk = desk();
    for out in ["x.pdf", "y.pdf"] {
        let ran = desk.run(&["report", "night.csv", "-o", out, "-q"]);
        assert_eq!((ran.code, ran.stderr.as_str()), (0, ""));
    }
    let bytes = std::fs::read(desk.path("x.pdf")).unwrap();
    assert!(bytes.starts_with(b"%PDF-"));
    assert_eq!(bytes, std::fs::read(desk.path("y.pdf")).unwrap());
    let letter = desk.run(&["report", "night.csv", "-o", "z.pdf", "--paper", "letter", "-q"]);
    assert_eq!(letter.code, 0, "{}", letter.stderr);
    assert_ne!(bytes, std::fs::read(desk.path("z.pdf")).unwrap());
}
