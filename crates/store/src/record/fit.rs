//! What a column can hold, the same on both databases.
//!
//! The chain keeps the image of a row as JSON, the database keeps its columns. Whatever one of them writes
//! otherwise than the other (a zero with a sign, a number that is none, the character U+0000) would make a
//! row that never agrees with its act again. So every value is made fit before it is bound, or refused.

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

use crate::error::StoreError;
use crate::record::row::Kept;

/// A value of a column.
pub trait Fit {
    /// Makes it what both databases and the chain write alike.
    ///
    /// # Errors
    /// Why no database may keep it, as the end of a sentence.
    fn fit(&mut self) -> Result<(), &'static str>;
}

/// A field of a row that cannot be kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unfit {
    /// The field.
    pub field: &'static str,
    /// Why, as the end of a sentence.
    pub why: &'static str,
}

impl Unfit {
    pub(crate) fn refused(self, table: &str) -> StoreError {
        let (field, why) = (self.field.replace('_', " "), self.why);
        StoreError::refused(
            "value_unfit",
            format!("{field} of this {} cannot be kept: it holds {why}", table.replace('_', " ")),
            "type it again without that; nothing was written",
        )
    }
}

const NUL: &str = "the character U+0000, which no text may hold";
const NO_NUMBER: &str = "a number that is none";

impl Fit for i64 {
    fn fit(&mut self) -> Result<(), &'static str> {
        Ok(())
    }
}

impl Fit for bool {
    fn fit(&mut self) -> Result<(), &'static str> {
        Ok(())
    }
}

impl Fit for f64 {
    fn fit(&mut self) -> Result<(), &'static str> {
        if !self.is_finite() {
            return Err(NO_NUMBER);
        }
        // A zero with a sign loses it in one of the databases; added to zero it has none.
        *self += 0.0;
        Ok(())
    }
}

impl Fit for String {
    fn fit(&mut self) -> Result<(), &'static str> {
        if self.contains('\0') { Err(NUL) } else { Ok(()) }
    }
}

impl<T: Fit> Fit for Option<T> {
    fn fit(&mut self) -> Result<(), &'static str> {
        self.as_mut().map_or(Ok(()), Fit::fit)
    }
}

impl<T: Serialize + DeserializeOwned + PartialEq> Fit for Kept<T> {
    fn fit(&mut self) -> Result<(), &'static str> {
        let mut value = serde_json::to_value(&self.0).map_err(|_| "what is no JSON")?;
        within(&mut value)?;
        // JSON writes a number that is none as nothing, so what comes back is not what was there.
        match serde_json::from_value(value) {
            Ok(back) if back == self.0 => self.0 = back,
            _ => return Err(NO_NUMBER),
        }
        Ok(())
    }
}

fn within(value: &mut Value) -> Result<(), &'static str> {
    match value {
        Value::String(text) => text.fit(),
        Value::Number(number) if number.is_f64() && number.as_f64() == Some(0.0) => {
            *value = Value::from(0.0);
            Ok(())
        }
        Value::Array(items) => items.iter_mut().try_for_each(within),
        Value::Object(fields) => fields.values_mut().try_for_each(within),
        Value::Null | Value::Bool(_) | Value::Number(_) => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_zero_has_no_sign_and_a_number_is_one() {
        let mut zero = Some(-0.0_f64);
        zero.fit().unwrap();
        assert!(zero.unwrap().is_sign_positive());
        let mut kept = Kept(vec![[-0.0_f64, 1.5]]);
        kept.fit().unwrap();
        assert!(kept.0[0][0].is_sign_positive());
        for none in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(Some(none).fit(), Err(NO_NUMBER));
            assert_eq!(Kept(vec![Some(none)]).fit(), Err(NO_NUMBER));
            assert_eq!(Kept(vec![none]).fit(), Err(NO_NUMBER));
        }
        assert_eq!("a\0b".to_owned().fit(), Err(NUL));
        assert_eq!(Kept(vec!["a\0b".to_owned()]).fit(), Err(NUL));
    }
}
