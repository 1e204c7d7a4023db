//! `matins diary`.

use crate::desk::Desk;
use crate::made::quiet_night;

#[test]
fn off_a_terminal_the_questions_stand_as_comments_and_the_file_reads() {
    let desk = Desk::new().with("night.csv", quiet_night());
    let ran = desk.run(&["diary", "night.csv", "--zone", "Europe/London", "-o", "-"]);
    ran.prints("diary.txt", "");
    let made = desk.run(&["diary", "night.csv"]);
    assert_eq!((made.code, made.stdout.as_str()), (0, ""), "{}", made.stderr);
    assert_eq!(
        made.stderr,
        "matins: wrote night.notes.toml\n\
         matins: nobody was asked; each question stands in it as a comment\n\
         matins: next: matins score night.csv --notes night.notes.toml\n"
    );
    assert_eq!(desk.run(&["score", "night.csv", "--notes-beside", "-q"]).code, 0);
    assert_eq!(desk.run(&["diary", "night.csv"]).code, 1, "notes that stand are not replaced");
}
