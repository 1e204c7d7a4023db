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
