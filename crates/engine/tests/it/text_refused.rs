//! Delimited text that is refused: the kind, the words with their place, and what to do next.

use engine::read::ReadErrorKind::{self, NotUnderstood as Unclear, Refused};
use engine::read::ReadOptions;

use crate::text::with;

/// Input, kind, words with their place, hint. `@3` stands for `2024-11-05 22:30:03`.
type Case = (&'static [u8], ReadErrorKind, &'static str, &'static str);

const CASES: &[Case] = &[
    (b" \r\n \n", Unclear, "the file holds nothing but white space", ""),
    (
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
        Unclear,
        "neither EDF, WFDB nor delimited text: the file begins with the bytes 89 50 4e 47 0d 0a \
             1a 0a, as a picture does (byte 0)",
        "export the samples, not the picture",
    ),
    (
        b"PK\x03\x04\x14\0\x06\0\x08\0\0\0!\0",
        Unclear,
        "neither EDF, WFDB nor delimited text: the file begins with the bytes 50 4b 03 04 14 00 \
             06 00, as a zip archive or a spreadsheet workbook does (byte 0)",
        "save the sheet as CSV",
    ),
    (
        &[1, 2, 3, 4, 5, 6, 7, 8, 9],
        Unclear,
        "neither EDF, WFDB nor delimited text: the file begins with the bytes 01 02 03 04 05 06 \
             07 08 (byte 0)",
        "export the night from the monitor as CSV or EDF",
    ),
    (
        b"A letter about a patient.\nNothing else.\n",
        Unclear,
        "no separator found: expected columns parted by comma, semicolon, tab or bar",
        "a column map can name the separator",
    ),
    (
        b"a,b,c\n1,2,3\n4,5,6\n",
        Unclear,
        "no header found: expected a line naming a time and SpO2, pulse or CO2 columns",
        "name the columns in a column map",
    ),
    (
        b"SpO2 (%),Pulse (/min)\n97,60\n96,61\n",
        Unclear,
        "no column holds the time: the header names `SpO2 (%)`, `Pulse (/min)` (line 1)",
        "say in a column map which column is the time and how it is written",
    ),
    (
        b"Date,SpO2 (%)\n2024-11-05,97\n2024-11-05,96\n",
        Unclear,
        "the column `Date` holds dates without times of day",
        "say in a column map which column is the time and how it is written",
    ),
    (
        b"time,SpO2 (%)\nnoon,97\nnoon,96\n",
        Unclear,
        "the times in column `time` are not understood: the first is `noon` (line 2)",
        "say in a column map which column is the time and how it is written",
    ),
    (b"time,SpO2 (%)\n", Unclear, "no rows below the header (line 1)", ""),
    (
        b"time,SpO2 (%)\n@0,97\n",
        Unclear,
        "only one row: the interval between samples is not known",
        "",
    ),
    (
        b"time,CO2 (kPa),tcPCO2 (mmHg)\n@0,5.9,44\n@1,5.9,44\n",
        Unclear,
        "two columns could be tcPCO2: `CO2 (kPa)` and `tcPCO2 (mmHg)`",
        "a column map picks one of them",
    ),
    (
        b"time,SpO2 (%),O2 sat (%)\n@0,97,97\n@1,97,97\n",
        Unclear,
        "two columns could be SpO2: `SpO2 (%)` and `O2 sat (%)`",
        "a column map picks one of them",
    ),
    (
        b"time,tcPCO2\n@0,5.9\n@1,6.0\n",
        Refused,
        "`tcPCO2` has no unit: expected kPa or mmHg",
        "its numbers look like kPa; if that is right, put unit = \"kPa\" in a column map",
    ),
    (
        b"time,tcPCO2\n@0,45\n@1,46\n",
        Refused,
        "`tcPCO2` has no unit: expected kPa or mmHg",
        "its numbers look like mmHg; if that is right, put unit = \"mmHg\" in a column map",
    ),
    (
        b"time,tcPCO2 (kPa)\n@0,45\n@1,46\n@2,0.1\n",
        Refused,
        "`tcPCO2 (kPa)` is labelled kPa, but its numbers are those of mmHg",
        "find out which is right; a column map can name the unit",
    ),
    (
        b"time,tcPCO2 (mmHg)\n@0,5.9\n@1,6.0\n@2,0.1\n",
        Refused,
        "`tcPCO2 (mmHg)` is labelled mmHg, but its numbers are those of kPa",
        "find out which is right; a column map can name the unit",
    ),
    (
        b"time,tcPCO2 (mbar)\n@0,59\n@1,60\n",
        Refused,
        "unit `mbar` of `tcPCO2 (mbar)` is not known for tcPCO2: expected kPa, mmHg, mm[Hg] or \
             torr",
        "if the header is wrong, a column map can name the unit",
    ),
    (
        b"time,SpO2 (kPa)\n@0,97\n@1,96\n",
        Refused,
        "unit `kPa` of `SpO2 (kPa)` is not known for SpO2: expected %",
        "if the header is wrong, a column map can name the unit",
    ),
    (
        b"time,SpO2 (fraction)\n@0,0.97\n@1,0.96\n",
        Refused,
        "`SpO2 (fraction)` holds saturation as a fraction: expected %",
        "export it in %, or multiply the column by 100",
    ),
    (
        b"time,SpO2\n@0,0.97\n@1,0.96\n",
        Refused,
        "`SpO2` holds saturation as a fraction: expected %",
        "export it in %, or multiply the column by 100",
    ),
    (
        b"time,SpO2 (%),tcPCO2 (kPa)\n@0,97,5,5,9\n@1,96,5,6,0\n",
        Unclear,
        "2 of 2 rows are not understood: in the first, 5 cells where the header names 3 (line 2)",
        "say in a column map how the columns are separated and the time is written",
    ),
    (
        b"time;SpO2 (%)\n@0;97.5\n@1;96,5\n",
        Unclear,
        "numbers are written both with a decimal point and with a decimal comma (line 2 and line \
             3)",
        "say in a column map which is the decimal mark",
    ),
    (
        b"time,SpO2 (%)\n@0,bad\n@1,worse\n@2,97\n",
        Unclear,
        "2 of 3 filled cells of `SpO2 (%)` are no number: the first is `bad` (line 2)",
        "a column map can list the cells that mean no reading",
    ),
    (
        b"time,SpO2 (%)\n03/04/2024 22:30:00,97\n03/04/2024 22:30:01,96\n",
        Unclear,
        "dates can be read day first or month first, and no row settles it (line 2)",
        "put format = \"day-first\" or \"month-first\" under [time] in a column map",
    ),
    (
        b"time,SpO2 (%)\n26/10/2024 22:30:00,97\n10/26/2024 22:30:01,96\n",
        Unclear,
        "the dates contradict each other: some can only be day first, some only month first \
             (line 2 and line 3)",
        "",
    ),
    (
        b"time,SpO2 (%)\n@0,97\n9999-11-05 22:30:01,96\n@2,95\n",
        Unclear,
        "the rows span 69907392 h; a night lasts at most 72 h (line 3 and line 4)",
        "the widest step lies between these two: one of their times is wrong",
    ),
    (
        b"time,SpO2 (%)
2024-10-27 01:59:59,97
2024-10-27 01:00:00,97
2024-10-27 01:00:01,97
",
        Unclear,
        "times go back by an hour, as when clocks are set back, and no zone is given (line 3)",
        "give the zone of the monitor's clock, for instance Europe/London",
    ),
    (
        b"time,SpO2 (%)\n@0+01:00,97\n@1,96\n",
        Unclear,
        "some times carry an offset from UTC and some do not (line 2 and line 3)",
        "",
    ),
    (
        b"time,channel,value,unit\n@0,tcPCO2,5.9,kPa\n\
              @1,tcPCO2,44,mmHg\n",
        Refused,
        "`tcPCO2` is given in `kPa` and in `mmHg` (line 3)",
        "",
    ),
    (
        b"elapsed,SpO2 (%)\n0,97\n0.00001,96\n0.00002,95\n",
        Unclear,
        "rows lie 0.00001 s apart: expected 0.001 s at least",
        "say in a column map how the time is written",
    ),
];

#[test]
fn a_table_turned_on_its_side_is_refused() {
    let columns: Vec<String> = (0..70).map(|column| format!("c{column}")).collect();
    let text = format!("time,SpO2 (%),{}\n2024-11-05 22:30:00,97\n", columns.join(","));
    let Err(error) = with(text.as_bytes(), &ReadOptions::default()) else { panic!("read") };
    assert_eq!(error.to_string(), "71 columns of samples: expected at most 64 (line 1)");
}

#[test]
fn every_refusal_says_what_where_and_what_next() {
    for (bytes, kind, what, hint) in CASES {
        let mut input = Vec::new();
        for &byte in *bytes {
            match byte {
                b'@' => input.extend_from_slice(b"2024-11-05 22:30:0"),
                byte => input.push(byte),
            }
        }
        let Err(error) = with(&input, &ReadOptions::default()) else { panic!("read: {what}") };
        let hinted = error.hint.clone().unwrap_or_default();
        assert_eq!(
            (error.kind, error.to_string(), hinted.as_str()),
            (*kind, (*what).into(), *hint)
        );
    }
}
