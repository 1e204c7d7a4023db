//! The one list of kinds of rows. Checking, backing up and restoring run over it, so that none can be
//! forgotten; a test holds it against the database's own list of tables.

/// Runs a block once for each kind of row, which it names by the identifier given.
macro_rules! every_table {
    ($row:ident => $body:block) => {
        $crate::record::all_tables::every_table! {
            @ $row $body
            Account Person Referral Study Consumable Monitor Loan LoanNight Movement Check Cleaning Chase
            Original Night Tie Outcome NotesVersion SecondReading DiaryEntry Report Setting
        }
    };
    (@ $row:ident $body:block $($kind:ident)+) => {
        $({
            type $row = $crate::record::tables::$kind;
            $body
        })+
    };
}

pub(crate) use every_table;

/// Tables that hold no rows of the record: the chain itself, kept bytes, comings and goings, steps of the tables.
pub const NOT_ROWS: [&str; 7] =
    ["act", "bytes", "device", "failed_login", "gate", "migration", "session"];

/// Every column of every kind of row, with its table.
#[cfg(test)]
pub(crate) fn columns() -> Vec<(&'static str, &'static str)> {
    use crate::record::row::Record as _;

    let mut names = Vec::new();
    every_table!(Row => { names.extend(Row::COLUMNS.iter().map(|column| (Row::TABLE, *column))); });
    names
}

/// Names of the tables that hold rows of the record.
pub fn tables() -> Vec<&'static str> {
    use crate::record::row::Record as _;

    let mut names = Vec::new();
    every_table!(Row => { names.push(Row::TABLE); });
    names
}
