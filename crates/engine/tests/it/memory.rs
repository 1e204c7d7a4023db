//! What reading takes, in multiples of the file: no file makes more of itself than the limits allow.
//!
//! Each case is read in a process of its own, and the largest size that process ever had is asked of the
//! system: a count of bytes, which does not depend on how fast the machine is.

use std::fmt::Write as _;
use std::process::Command;

use engine::read::Input;
use engine::read::ReadOptions;
use engine::read::limits;
use engine::read::read;

/// Length of the files, bytes: large against what a process takes by itself.
const LENGTH: usize = 16 << 20;
/// The variable that names the case to the process that reads it.
const CASE: &str = "MATINS_MEMORY_CASE";
/// What a process may take beside: buffers, the program itself.
const BESIDE: usize = 12 << 20;

/// Name, file, the most that reading may take (times the length of the file), and what it says; empty when
/// it is read.
type Case = (&'static str, fn() -> Vec<u8>, usize, &'static str);

const CASES: [Case; 13] = [
    (
        "commas",
        commas,
        1,
        "the line is too long: expected at most 65536 bytes, found 16777216 (line 1)",
    ),
    ("one_line", one_line, 1, "the line is too long: expected at most 65536 bytes, found"),
    ("wide_lines", wide_lines, 1, "too many columns: expected at most 512, found 60001 (line 1)"),
    ("open_quote", open_quote, 3, "a quotation mark is opened and not closed"),
    ("short_rows", short_rows, 12, "too many rows: expected at most"),
    ("empty_cells", empty_cells, 12, "the night would hold"),
    ("ms_stamps", ms_stamps, 8, "the night would hold"),
    ("words", words, 10, "too many marks: expected at most 100000"),
    ("utf_16", utf_16, 10, ""),
    ("quoted", quoted, 10, ""),
    ("fast_night", fast_night, 8, ""),
    ("edf_short_records", edf_short_records, 12, "the recording is too long"),
    ("edf_annotations", edf_annotations, 3, "too many marks: expected at most 100000"),
];

fn repeated(head: &str, line: impl Fn(usize) -> String) -> Vec<u8> {
    let mut text = String::with_capacity(LENGTH + 128);
    text.push_str(head);
    let mut row = 0;
    while text.len() < LENGTH {
        text.push_str(&line(row));
        row += 1;
    }
    text.into_bytes()
}

fn commas() -> Vec<u8> {
    vec![b','; LENGTH]
}

fn one_line() -> Vec<u8> {
    repeated("time,SpO2 (%)\n0,97\n", |_| "1 2 3 4 5 6 7 8 ".to_owned())
}

fn wide_lines() -> Vec<u8> {
    repeated("", |_| ",".repeat(60_000) + "\n")
}

fn open_quote() -> Vec<u8> {
    repeated("time,SpO2 (%)\n0,97\n1,\"97\n", |row| format!("{row},97\n"))
}

/// Rows of two or three bytes under a header of many columns.
fn short_rows() -> Vec<u8> {
    repeated("seconds,SpO2 (%)\n", |row| format!("{}\n", row % 10))
}

fn empty_cells() -> Vec<u8> {
    let names: Vec<String> = (0..60).map(|at| format!("c{at}")).collect();
    repeated(&format!("seconds,SpO2 (%),{}\n", names.join(",")), |row| format!("{row},97\n"))
}

/// Four rows a millisecond apart, then a pause: 21 MB of it once took 2.2 GB.
fn ms_stamps() -> Vec<u8> {
    repeated("time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)\n", |row| {
        let ms = row / 4 * 250 + row % 4;
        let (h, m, s) = (ms / 3_600_000, ms / 60_000 % 60, ms / 1000 % 60);
        format!("{h}:{m:02}:{s:02}.{:03},97,60,5.3\n", ms % 1000)
    })
}

/// An event in every row.
fn words() -> Vec<u8> {
    repeated("seconds,SpO2 (%),Event\n", |row| format!("{row},97,e{row}\n"))
}

fn night(row: usize) -> String {
    let (h, m, s) = (row / 90_000, row / 1500 % 60, row / 25 % 60);
    format!("{h}:{m:02}:{s:02}.{:02},97,60,5.3\n", row % 25 * 4)
}

/// 25 rows a second.
fn fast_night() -> Vec<u8> {
    repeated("time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)\n", night)
}

fn utf_16() -> Vec<u8> {
    let text = fast_night();
    let half = &text[..text.len() / 2];
    let wide: Vec<u8> = half.iter().flat_map(|byte| [*byte, 0]).collect();
    [vec![0xff, 0xfe], wide].concat()
}

fn quoted() -> Vec<u8> {
    repeated("\"time\",SpO2 (%),Pulse (/min),tcPCO2 (kPa)\n", night)
}

/// An EDF file of signals `(label, samples per record)`, filled to the length with a byte pattern.
fn edf(kind: &str, signals: &[(&str, usize)], fill: &[u8]) -> Vec<u8> {
    let n = signals.len();
    let mut head = format!("{:<8}{:<80}{:<80}", "0", "X X X X", "Startdate 24-NOV-2026 X X X");
    write!(head, "24.11.2622.00.00{:<8}{kind:<44}{:<8}{:<8}{n:<4}", 256 * (n + 1), "-1", "1")
        .unwrap();
    let mut fields = |width: usize, of: &dyn Fn(&(&str, usize)) -> String| {
        for signal in signals {
            write!(head, "{:<width$}", of(signal)).unwrap();
        }
    };
    fields(16, &|signal| signal.0.to_owned());
    fields(80, &|_| String::new());
    fields(8, &|signal| if signal.0.starts_with("EDF") { String::new() } else { "%".to_owned() });
    for number in ["0", "100", "-32768", "32767"] {
        fields(8, &|_| number.to_owned());
    }
    fields(80, &|_| String::new());
    fields(8, &|signal| signal.1.to_string());
    fields(32, &|_| String::new());
    let mut bytes = head.into_bytes();
    bytes.reserve_exact(LENGTH);
    while bytes.len() < LENGTH {
        bytes.extend_from_slice(fill);
    }
    bytes
}

/// Records of one sample, two bytes each: what is kept of a record once cost fifty.
fn edf_short_records() -> Vec<u8> {
    edf("", &[("SpO2", 1)], &[0x10, 0x27])
}

fn edf_annotations() -> Vec<u8> {
    let record = b"+0\x14\x14\0+1\x14a\x14\0+1\x14b\x14\0+1\x14c\x14\0+1\x14d\x14\0\0";
    let record = [&[0x10, 0x27], &record[..], &vec![0; record.len() % 2]].concat();
    edf("EDF+C", &[("SpO2", 1), ("EDF Annotations", record.len() / 2 - 1)], &record)
}

/// The largest size this process ever had, bytes.
fn peak() -> usize {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmHWM:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<usize>().unwrap() * 1024
}

/// Not a test of its own: the process that reads one case and says what it took.
#[test]
fn one_case() {
    let Ok(named) = std::env::var(CASE) else { return };
    let (_, file, _, _) = CASES.into_iter().find(|case| case.0 == named).unwrap();
    let bytes = file();
    let before = peak();
    let input = Input { name: "night.csv", bytes: &bytes, companions: &[] };
    let said = match read(input, &ReadOptions::default()) {
        Ok(night) => {
            let samples: usize = night.channels.iter().map(|channel| channel.samples.len()).sum();
            assert!(samples <= limits::samples_of(bytes.len()), "{samples} samples");
            String::new()
        }
        Err(error) => error.to_string(),
    };
    println!("took {} of {} bytes: {said}", peak() - before, bytes.len());
}

#[test]
fn r018_no_file_takes_many_times_its_length() {
    let mut wrong = Vec::new();
    for (name, _, most, says) in CASES {
        let run = Command::new(std::env::current_exe().unwrap())
            .args(["memory::one_case", "--exact", "--nocapture"])
            .env(CASE, name)
            .output()
            .unwrap();
        let out = String::from_utf8_lossy(&run.stdout).into_owned();
        let Some((_, line)) = out.split_once("took ") else {
            wrong.push(format!("{name}: {out}{}", String::from_utf8_lossy(&run.stderr)));
            continue;
        };
        let line = line.lines().next().unwrap();
        let took: usize = line.split(' ').next().unwrap().parse().unwrap();
        let told = line.split_once("bytes: ").map_or("", |(_, said)| said);
        let as_expected = if says.is_empty() { told.is_empty() } else { told.starts_with(says) };
        println!("{name}: {:.1} times the file; {told}", took as f64 / LENGTH as f64);
        if took > most * LENGTH + BESIDE || !as_expected {
            wrong.push(format!("{name}: at most {most} times {LENGTH} bytes, {line}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
