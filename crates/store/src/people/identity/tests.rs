//! Every format's words for a person, held against the borrower.

use super::*;

fn person(id: i64, family: &str, given: &str, mrn: &str) -> Person {
    Person {
        id,
        act: 0,
        mrn: mrn.to_owned(),
        nhs_number: (id == 1).then(|| "9434765919".to_owned()),
        family: family.to_owned(),
        given: given.to_owned(),
        born_on: "1949-05-12".to_owned(),
        telephone: None,
        address: None,
        needs: None,
        voided_at: None,
        voided_because: None,
        same_as: None,
    }
}

/// What speaks against Jory Lantern, LMK204802, born 12 May 1949. Bert Nodley is in the record too.
fn against(bytes: &[u8], name: &str) -> Vec<String> {
    let people =
        [person(1, "Lantern", "Jory Ann", "LMK204802"), person(2, "Nodley", "Bert", "LMK204999")];
    let spelt: Vec<Spelt> = people.iter().map(Spelt::new).collect();
    let known = Known { people: &spelt, monitors: &[] };
    FileIdentity::of(bytes, name, &[], None).against(&people[0], known)
}

fn edf(patient: &str, recording: &str, reserved: &str) -> Vec<u8> {
    let mut bytes = format!("0       {patient:<80}{recording:<80}").into_bytes();
    bytes.resize(192, b' ');
    bytes.extend(format!("{reserved:<64}").bytes());
    bytes
}

const ROWS: &str = "time,SpO2 (%)\n2026-11-24T22:00:00,95\n2026-11-24T22:00:30,95\n";

/// The example of the EDF+ specification (`kemp-2003`, 2.1.3.3), and one that tells nothing.
#[test]
fn the_patient_field_is_read_as_published() {
    let of = |patient, plus| FileIdentity::of(&edf(patient, "", plus), "n.edf", &[], None).says();
    assert_eq!(
        of("MCH-0234567 F 02-MAY-1951 Haagse_Harry", "EDF+C"),
        ["number: MCH-0234567", "day of birth: 02-MAY-1951", "name: Haagse Harry"]
    );
    assert_eq!(of("X X X X", "EDF+D"), Vec::<String>::new());
    assert_eq!(of("Harry from The Hague", ""), ["patient: Harry from The Hague"]);
}

#[test]
fn r022_a_given_name_that_differs_is_told() {
    for told in [
        "X M 12-MAY-1949 Lantern_Rory",
        "X X X Lantern_B",
        "X X X Rory",
        "X X 12-MAY-1948 X",
        "LMK204803 X X X",
    ] {
        assert_eq!(against(&edf(told, "", "EDF+C"), "n.edf").len(), 1, "{told}");
    }
    for told in [
        "X M 12-MAY-1949 Lantern_Jory",
        "LMK204802 X X Lantern",
        "943-476-5919 X X Ann_Lantern",
        "X X X LANTERN_J",
    ] {
        assert_eq!(against(&edf(told, "", "EDF+C"), "n.edf"), Vec::<String>::new(), "{told}");
    }
    for (told, wrong) in [
        ("LMK204802 F 12-MAY-1949 Lantern", 0),
        ("Lantern, Jory 12.05.1949", 0),
        ("Lantern Rory", 1),
        ("John", 1),
        ("LMK204802 13-MAY-1949", 1),
    ] {
        assert_eq!(against(&edf(told, "", ""), "n.edf").len(), wrong, "{told}");
    }
    assert_eq!(
        against(&edf("X X X X", "Startdate 24-NOV-2026 X Bert_Nodley X", "EDF+C"), "n.edf"),
        [OTHER]
    );
}

#[test]
fn r033_the_words_above_the_samples_of_a_text_are_compared() {
    for (head, wrong) in [
        ("# Patient: SMITH, John\n# Date of birth: 1933-01-01\n# Patient ID\n", &[BORN, NAME][..]),
        ("Patient: SMITH, John, DOB: 12/05/1949\n", &[NAME]),
        ("Name;SMITH;Vorname;John\n", &[NAME]),
        ("Name;Lantern;Vorname;Jory\nGeburtsdatum;12.05.1949\n", &[]),
        ("Surname,Lantern\nFirst name,Rory\n", &[NAME]),
        ("Patient Name\tLantern, Jory\nPatient ID\tLMK204802\n", &[]),
        ("Date of birth=12 May 1950\n", &[BORN]),
        ("D.O.B.: 05/12/1949\n", &[]),
        ("date of birth: soon\n", &[BORN_UNREAD]),
        ("MRN: LMK204803\n", &[NUMBER]),
        ("NHS number: 401 023 2137\n", &[NUMBER]),
        ("# exported for 401 023 2137\n", &[NHS]),
        ("# of Bert Nodley, bed 4\n", &[OTHER]),
        ("# LMK204803\n", &[LIKE]),
        ("# <age>: 62 <sex>: F\n# Patient: X\n# Name: n/a\n", &[]),
        ("Device name: bedside one\nSoftware: 2.1\n", &[]),
    ] {
        let text = format!("{head}{ROWS}");
        assert_eq!(against(text.as_bytes(), "n.csv"), wrong, "{head}");
        let wide: Vec<u8> =
            std::iter::once(0xFEFF).chain(text.encode_utf16()).flat_map(u16::to_le_bytes).collect();
        assert_eq!(against(&wide, "n.csv"), wrong, "as UTF-16: {head}");
        let below = format!(
            "{ROWS}{}",
            head.lines().map(|line| format!("# {line}\n")).collect::<Vec<_>>().concat()
        );
        assert_eq!(against(below.as_bytes(), "n.csv"), wrong, "below the samples: {head}");
    }
}

#[test]
fn a_number_on_every_row_is_compared() {
    let rows = |number: &str| {
        format!(
            "Patient ID;time;SpO2 (%)\n{number};2026-11-24T22:00:00;95\n{number};2026-11-24T22:00:30;95\n"
        )
    };
    assert_eq!(against(rows("LMK204802").as_bytes(), "n.csv"), Vec::<String>::new());
    assert_eq!(against(rows("771").as_bytes(), "n.csv"), [NUMBER]);
}

#[test]
fn the_files_name_is_compared() {
    for (name, wrong) in [
        ("TC-1042_2026-11-24.csv", &[][..]),
        ("lantern jory 2026-11-24.csv", &[]),
        ("export-20261124-220000.csv", &[]),
        ("LMK204802.csv", &[]),
        ("LMK204999.csv", &[LIKE, OTHER]),
        ("nodley_TC-1042.csv", &[OTHER]),
        ("John Smith night 1.edf", &[FILE_NAME]),
        ("patient smith.csv", &[FILE_NAME]),
        ("4010232137.csv", &[NHS]),
    ] {
        assert_eq!(against(ROWS.as_bytes(), name), wrong, "{name}");
    }
}

#[test]
fn names_are_one_however_they_are_spelt() {
    let of = |family: &str, given: &str, told: &str| {
        free(told, &person(3, family, given, "H1")).is_empty()
    };
    for (family, given, told) in [
        ("O'Brien", "Mary-Jane", "OBRIEN^MARY JANE"),
        ("M\u{fc}ller", "J\u{fc}rgen", "Mueller Juergen"),
        ("Mueller", "Jo", "M\u{fc}ller, Jo"),
        ("van der Berg", "An", "An VANDERBERG"),
        ("St. Clair", "Ivo", "Mr Ivo St Clair"),
    ] {
        assert!(of(family, given, told), "{told}");
    }
    assert!(!of("Smith", "Jo", "Smithson Jo") && !of("Smith", "Jo", "Al"));
}

/// A label is never missed by the look that spares the rows.
#[test]
fn a_line_with_a_label_is_never_spared() {
    for line in [
        "Patient: SMITH",
        "name;SMITH",
        "2026-11-24T22:00:00,95,Patient ID: LMK204999",
        "D.O.B. 1949-05-12",
        "s/n: 17",
        "N\u{e4}chname: X",
        "Patient's name: X",
        "PATIENTENNUMMER=3",
    ] {
        assert!(may_label(line), "{line}");
        let plain = line.is_ascii() && pairs(line).is_empty();
        assert!(!plain || line.starts_with("D.O.B"), "{line} holds no label");
    }
    for row in ["2026-11-24T22:00:00,95,61,5.6", "24/11/2026 22:00;SpO2;95;%", "22:00:00.5Z\t1e5"] {
        assert!(!may_label(row), "{row}");
    }
}

/// Wherever another patient's name stands it is found, and a file with more words than anybody compares is not
/// tied by itself.
#[test]
fn a_name_far_down_is_found_and_words_without_end_are_a_doubt() {
    let row = |at: usize| format!("2026-11-24T22:{:02}:{:02},95\n", at / 60 % 60, at % 60);
    let rows = |from, to| (from..to).map(row).collect::<Vec<_>>().concat();
    let name = "Patient: Nodley, Bert\n";
    for head in ["time,SpO2 (%)\n", "when,what\n", ""] {
        for far in [300, 50_000] {
            let text = format!("{head}{}{name}{}", rows(0, far), rows(far, far + 100));
            assert_ne!(against(text.as_bytes(), "n.csv"), Vec::<String>::new(), "{head} {far}");
        }
    }
    let many = |line: &dyn Fn(usize) -> String| (0..50_000).map(line).collect::<Vec<_>>().concat();
    let remarks = many(&|at| format!("# remark {at}\n"));
    for told in [format!("{remarks}{name}{ROWS}"), format!("{ROWS}{remarks}{name}")] {
        assert_eq!(against(told.as_bytes(), "n.csv"), [MORE]);
    }
    let ids = many(&|at| format!("id {at}\n"));
    assert!(against(format!("{ROWS}{ids}").as_bytes(), "n.csv").contains(&MORE.to_owned()));
    // A column of a person's data is compared on every row.
    let own = many(&|at| row(at).replace(",95", ",95,LMK204802"));
    let other = own.clone() + &row(3).replace(",95", ",95,LMK204999");
    let with = |rows: &str| format!("time,SpO2 (%),Patient ID\n{rows}");
    assert_eq!(against(with(&own).as_bytes(), "n.csv"), Vec::<String>::new());
    assert_ne!(against(with(&other).as_bytes(), "n.csv"), Vec::<String>::new());
}

/// Somebody made up, none of whose particulars is another's of the same run.
fn made(id: i64, turn: usize) -> Person {
    const FAMILY: [&str; 12] = [
        "Nightcap",
        "Bolster",
        "Cradlesong",
        "O'Drowse",
        "Van Der Nap",
        "M\u{fc}cke",
        "Li",
        "Page",
        "Eiderdown-Tick",
        "Lullaby",
        "Snore",
        "Counterpane",
    ];
    const GIVEN: [&str; 12] = [
        "Nell", "Bram", "Pip", "Jory", "Odo", "Wyn", "Zuleika", "Hob", "Tess", "Ansel", "Una",
        "Quill",
    ];
    let mut one = person(
        id,
        FAMILY[turn % 12],
        GIVEN[turn * 5 % 12],
        &format!("LMK2{:05}", 4_000 + turn * 37),
    );
    one.born_on = format!("19{:02}-{:02}-{:02}", 31 + turn * 7 % 60, 1 + turn % 12, 13 + turn % 14);
    one.nhs_number = None;
    one
}

/// Ways in which somebody is written above the samples of a text.
fn written(one: &Person) -> Vec<String> {
    let (family, given) = (&one.family, &one.given);
    let initial = &given[..1];
    let (year, month, day) = (&one.born_on[..4], &one.born_on[5..7], &one.born_on[8..]);
    let digits: String = one.mrn.chars().filter(char::is_ascii_digit).collect();
    vec![
        format!("Pt: {family} {initial}"),
        format!("Patient {family}"),
        format!("Mrs {family}"),
        format!("user={}", family.to_lowercase()),
        format!("Comment: {family}"),
        format!("Ref {digits}"),
        format!("number {}", one.mrn),
        format!("exported for {given} {family}"),
        format!("{}, {given}", family.to_uppercase()),
        format!("{given}_{family}"),
        format!("account {}", format!("{given}{family}").to_lowercase()),
        format!("of {day}/{month}/{year}"),
        format!("of {year}{month}{day}"),
        format!("of {day}.{month}.{}", &year[2..]),
        format!("seen with {family} at noon"),
        format!("MRN: LMK204802; remark {family}"),
        format!("2 nights of {given} {family}"),
        format!("Name: {family}"),
    ]
}

/// Whoever borrows and whoever else is in the record: no way of writing the other ties the night to the borrower,
/// in a preamble, a file name or a field of EDF+, and what is written of the borrower alone gives no such doubt.
#[test]
fn no_way_of_writing_another_patient_is_taken_for_the_borrower() {
    for (own, other) in (0..24).flat_map(|own| (1..12).map(move |by| (own, own + by))) {
        let mut own = made(1, own);
        "LMK204802".clone_into(&mut own.mrn);
        let people = [own.clone(), made(2, other)];
        let spelt: Vec<Spelt> = people.iter().map(|one| Spelt::new(one).current(true)).collect();
        let known = Known { people: &spelt, monitors: &[] };
        let doubts = |bytes: &[u8], name: &str| {
            FileIdentity::of(bytes, name, &[], None).against(&own, known)
        };
        for says in written(&people[1]) {
            let text = doubts(format!("{says}\n{ROWS}").as_bytes(), "n.csv");
            assert_ne!(text, Vec::<String>::new(), "{says} for {} {}", own.given, own.family);
            // The fields of EDF are ASCII.
            if says.is_ascii() {
                let field = doubts(&edf("X X X X", &says, "EDF+C"), "n.edf");
                assert_ne!(field, Vec::<String>::new(), "{says} in the recording's field");
            }
            if !says.contains([':', ';', '=', '/']) {
                let named = doubts(ROWS.as_bytes(), &format!("{says}.csv"));
                assert_ne!(named, Vec::<String>::new(), "{says} as a file's name");
            }
        }
        for says in
            ["Ref 204802", "number LMK204802", "started 2026-11-24 22:10:31, version 2.10.12"]
        {
            let text = doubts(format!("{says}\n{ROWS}").as_bytes(), "n.csv");
            assert_eq!(text, Vec::<String>::new(), "{says}");
        }
        let (family, given) = (&own.family, &own.given);
        for says in [
            format!("Pt: {family} {}", &given[..1]),
            format!("Mrs {family}"),
            format!("Name: {given} {family}"),
        ] {
            let text = doubts(format!("{says}\n{ROWS}").as_bytes(), "n.csv");
            assert_eq!(text, Vec::<String>::new(), "{says} is the borrower");
        }
    }
}

/// Systems write a name with blanks, and more behind it.
#[test]
fn r131_whatever_stands_behind_the_day_of_birth_is_compared() {
    for told in [
        "X X X X Nell Nightcap",
        "X X X Jory Nightcap",
        "X X X X Bram Bolster",
        "X M X X Bolster, Bram",
        "X F X Pip Bolster",
        "X X X Jory Lantern (Nell Nightcap)",
        "X X X X 04-APR-1979",
        "X X X X 4.4.79",
        "X X X X LMK204803",
        "X X X X Nightcap",
        "X Nightcap X X",
    ] {
        assert_ne!(against(&edf(told, "", "EDF+C"), "n.edf"), Vec::<String>::new(), "{told}");
    }
    for told in [
        "X X X Jory Lantern",
        "X F X X Lantern, Jory Ann",
        "LMK204802 F 12-MAY-1949 Lantern Jory X",
        "X X X X LMK204802",
        "X X X X 12-MAY-1949 Lantern",
    ] {
        assert_eq!(against(&edf(told, "", "EDF+C"), "n.edf"), Vec::<String>::new(), "{told}");
    }
}

/// A family name that is a common word counts behind a label and where its bearer is about, and else not; the time
/// a file was written is nobody's number.
#[test]
fn a_common_word_or_a_time_makes_no_file_doubtful() {
    let people = [
        person(1, "Lantern", "Jory Ann", "LMK204802"),
        person(2, "Night", "May", "LMK204724"),
        person(3, "Filter", "Ben", "LMK300001"),
    ];
    let start = 1_795_557_600;
    let of = |text: &str, name: &str, current: bool| {
        let spelt: Vec<Spelt> = people.iter().map(|one| Spelt::new(one).current(current)).collect();
        let known = Known { people: &spelt, monitors: &[] };
        let text = format!("{text}\n{ROWS}");
        FileIdentity::of(text.as_bytes(), name, &[], Some(start)).against(&people[0], known)
    };
    let nothing = Vec::<String>::new();
    assert_eq!(of("a night at home", "night 1.csv", true), nothing);
    assert_eq!(of("filter on", "n.csv", false), nothing);
    assert_ne!(of("filter on", "n.csv", true), nothing);
    assert_ne!(of("Mrs Night", "n.csv", false), nothing);
    assert_eq!(of("started 20:47:24", "n.csv", true), nothing);
    let day = crate::when::rfc3339(start)[..10].replace('-', "");
    assert_eq!(of("", &format!("export-{day}-204724.csv"), true), nothing);
    assert_ne!(of("", "export-204724.csv", true), nothing);
}
