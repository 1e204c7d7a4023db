//! Whatever a row of any kind holds: its image, the row read back, a backup and what is restored agree.

use serde_json::Value;
use serde_json::json;
use store::error::StoreError;
use store::record::act::Author;
use store::record::all_tables;
use store::record::chain::canonical;
use store::record::row::Record;
use store::record::tables;
use store::safekeeping::verify::in_silence;

use crate::both::Desk;
use crate::forged::backed_up_and_restored;
use crate::full;

/// Rows of each kind that are tried.
const ROUNDS: usize = 10;

/// A number below a bound, from a generator that makes the same numbers on every run.
struct Dice(u64);

impl Dice {
    fn below(&mut self, most: usize) -> usize {
        // The constants of Knuth's MMIX generator.
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % most
    }

    fn text(&mut self) -> String {
        let odd = [
            "",
            " ",
            "\u{5d0}\u{5d1} from right to left",
            "\u{1F319}\u{1F3FD}",
            "e\u{301}",
            "\u{200d}",
            "\t\r\n",
            "' \" \\ ; -- %_",
            "-0.0",
            "null",
            "{\"a\":[1]}",
            "\u{10ffff}\u{fffd}",
            "NaN",
        ];
        let at = self.below(odd.len() + 1);
        // As long as the shortest column takes; longer ones and hidden signs are refused (`limits.rs`).
        let long = "long \u{1F9F6} ".repeat(10);
        // Nobody else has it: some texts may stand once only.
        format!("{}{}", odd.get(at).copied().unwrap_or(&long), self.0)
    }

    fn float(&mut self) -> f64 {
        let odd = [
            -0.0,
            0.0,
            f64::MAX,
            f64::MIN,
            f64::MIN_POSITIVE,
            f64::from_bits(1),
            -f64::from_bits(3),
            f64::EPSILON,
            0.1 + 0.2,
            1.0 / 3.0,
            9_007_199_254_740_992.0,
            1e21,
            5e-324,
            2.225_073_858_507_201_4e-308,
            5.0,
        ];
        let bits = f64::from_bits(self.0.rotate_left(17));
        odd.get(self.below(odd.len() + 3)).copied().unwrap_or(if bits.is_finite() {
            bits
        } else {
            1.5
        })
    }

    fn whole(&mut self) -> i64 {
        let odd = [i64::MIN, i64::MAX, -1, 0, 1 << 53, (1 << 53) + 1];
        let other = i64::from_ne_bytes(self.0.to_ne_bytes());
        odd.get(self.below(odd.len() * 3)).copied().unwrap_or(other)
    }

    /// Another value of the same shape, all the way in.
    fn vary(&mut self, value: &Value) -> Value {
        match value {
            Value::String(_) => json!(self.text()),
            Value::Number(number) if number.is_f64() => json!(self.float()),
            Value::Number(_) => json!(self.whole()),
            Value::Bool(_) => json!(self.below(2) == 0),
            Value::Array(items) => items.iter().map(|item| self.vary(item)).collect(),
            Value::Object(fields) => {
                fields.iter().map(|(key, field)| (key.clone(), self.vary(field))).collect()
            }
            Value::Null => match self.below(4) {
                0 => json!(self.text()),
                1 => json!(self.float()),
                2 => json!(self.whole()),
                _ => Value::Null,
            },
        }
    }
}

/// Columns that point to another row, from the text of the steps.
fn pointing() -> Vec<String> {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    let mut columns = Vec::new();
    for file in std::fs::read_dir(folder).unwrap() {
        let text = std::fs::read_to_string(file.unwrap().path()).unwrap();
        let mut table = String::new();
        for line in text.lines().filter(|line| !line.starts_with("--")) {
            let words: Vec<&str> = line.split_ascii_whitespace().collect();
            match words.as_slice() {
                ["CREATE", "TABLE", name, ..] => (*name).clone_into(&mut table),
                ["ALTER", "TABLE", name, "ADD", "COLUMN", column, ..]
                    if line.contains("REFERENCES") =>
                {
                    columns.push(format!("{name}.{column}"));
                }
                [column, ..] if line.contains("REFERENCES") => {
                    columns.push(format!("{table}.{column}"));
                }
                _ => {}
            }
        }
    }
    columns
}

/// A row with other values in as many of its fields as its kind takes them.
fn varied<R: Record>(row: &R, dice: &mut Dice, pointing: &[String]) -> R {
    let mut value = serde_json::to_value(row).unwrap();
    for field in &R::COLUMNS[2..] {
        // What points to another row, and hashes of files that must be there.
        let hash = field.ends_with("sha256") && R::TABLE != "original";
        if hash || pointing.contains(&format!("{}.{field}", R::TABLE)) {
            continue;
        }
        let mut other = value.clone();
        other[*field] = dice.vary(&value[*field]);
        // Closed words take no other text.
        if serde_json::from_value::<R>(other.clone()).is_ok() {
            value = other;
        }
    }
    if R::TABLE == "original" {
        // Of a file that never was, its bytes are not looked for.
        value["destroyed_at"] = json!(1);
    }
    serde_json::from_value(value).unwrap()
}

async fn tried<R: Record + PartialEq + std::fmt::Debug>(
    desk: &Desk,
    dice: &mut Dice,
    pointing: &[String],
) -> usize {
    let first: R = desk.store.read().await.unwrap().get(1).await.unwrap();
    let mut kept = 0;
    for _ in 0..ROUNDS {
        let mut row = varied(&first, dice, pointing);
        row.stamp(0, 0);
        let mut act = desk.store.act(&Author::program(), "test").await.unwrap();
        match act.put(&mut row).await {
            Ok(()) => {}
            // Two whole numbers that may stand once only were the same.
            Err(StoreError::Database(error))
                if error
                    .as_database_error()
                    .is_some_and(sqlx::error::DatabaseError::is_unique_violation) =>
            {
                continue;
            }
            Err(error) => panic!("{} {row:?}: {error}", R::TABLE),
        }
        act.close().await.unwrap();
        kept += 1;
        let back: R = desk.store.read().await.unwrap().get(row.id()).await.unwrap();
        assert_eq!(back, row);
        let text = |row: &R| canonical(&serde_json::to_value(row).unwrap());
        assert_eq!(text(&back), text(&row));
    }
    kept
}

/// One of each kind of row; held against the record's own list.
macro_rules! each_kind {
    ($($kind:ident)+ => |$row:ident| $body:expr) => {{
        let mut names = Vec::new();
        $(
            {
                type $row = tables::$kind;
                names.push($row::TABLE);
                $body;
            }
        )+
        assert_eq!(names, all_tables::tables());
    }};
}

on_both! {
    async fn r12_whatever_a_row_holds_image_row_backup_and_restored_agree(desk) {
        full::fill(&desk.store).await;
        let (mut dice, pointing, mut kept) = (Dice(7), pointing(), 0);
        each_kind!(Account Person Referral Study Consumable Monitor Loan LoanNight Movement Check Cleaning Chase
            Original Night Tie Outcome NotesVersion SecondReading DiaryEntry Report Setting
            => |Row| kept += tried::<Row>(&desk, &mut dice, &pointing).await);
        assert!(kept > 17 * ROUNDS, "{kept}");
        assert_eq!(desk.store.verify(&[], &in_silence).await.unwrap().wrong, Vec::<String>::new());
        backed_up_and_restored(&desk).await;
    }

    async fn r12_what_no_database_may_keep_is_refused_with_words(desk) {
        full::fill(&desk.store).await;
        let refused = async |change: &dyn Fn(&mut tables::Consumable)| {
            let mut act = desk.store.act(&Author::program(), "test").await.unwrap();
            let mut lot: tables::Consumable = act.get(1).await.unwrap();
            lot.id = 0;
            change(&mut lot);
            let error = act.put(&mut lot).await.unwrap_err();
            assert!(error.is("value_unfit"), "{error}");
            error.to_string()
        };
        for number in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let said = refused(&|lot| lot.co2_percent = Some(number)).await;
            assert_eq!(said, "co2 percent of this consumable cannot be kept: it holds a number that is none");
        }
        let said = refused(&|lot| "a\0b".clone_into(&mut lot.lot)).await;
        assert_eq!(said, "lot of this consumable cannot be kept: it holds the character U+0000, which no text may hold");
        let mut act = desk.store.act(&Author::program(), "test").await.unwrap();
        let mut second: tables::SecondReading = act.get(1).await.unwrap();
        second.pair.0.as_mut().unwrap().figures = vec![("a".to_owned(), [Some(f64::NAN), None])];
        assert!(act.put(&mut second).await.unwrap_err().is("value_unfit"));
        drop(act);
        assert_eq!(desk.store.verify(&[], &in_silence).await.unwrap().wrong, Vec::<String>::new());
    }
}
