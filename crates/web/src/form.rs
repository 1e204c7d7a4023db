//! Forms as data: fields with labels, hints and errors, which keep what was typed.
//!
//! A handler makes the form, fills it with what was sent, and either acts or shows it again with its faults:
//!
//! ```text
//! let form = visit.form("/people/new", "Enter the person").field(Field::text("family", "Family name").needed());
//! let form = form.filled(&typed).checked();
//! match form.has_faults() { … }
//! ```

use askama::Template;
use store::error::StoreError;
use store::text;

use crate::typed::Typed;

/// What kind of control a field is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Kind {
    /// One line. The text is the control's type: `text`, `password`, `date`, `time`, `number`, `tel`, `email`, `search`.
    Line(&'static str),
    /// Several lines; how many are shown.
    Lines(usize),
    /// One of a list, from a menu: value and words.
    Menu(Vec<(String, String)>),
    /// One of a few, all in sight: value and words.
    One(Vec<(String, String)>),
    /// Any of a few: value and words.
    Some(Vec<(String, String)>),
    /// One box to tick.
    Tick,
    /// Carried along, not shown.
    Hidden,
}

/// One field of a form.
#[derive(Clone, Debug, PartialEq, Eq, Template)]
#[template(path = "field.html")]
pub struct Field {
    /// Its name in what is sent.
    pub name: &'static str,
    /// What its id begins with, so that several forms may stand on one page.
    pub within: String,
    /// Its label.
    pub label: String,
    /// What to write, under the label.
    pub hint: String,
    /// The control.
    pub kind: Kind,
    /// What stands in it, or which are chosen.
    pub values: Vec<String>,
    /// What is wrong with it.
    pub fault: Option<String>,
    /// Whether it may not be left empty.
    pub needed: bool,
    /// The browser's word for what belongs here, `off` when nothing does.
    pub autocomplete: &'static str,
    /// Further attributes of the control, such as `min`: name and value.
    pub attributes: Vec<(&'static str, String)>,
    /// Put the cursor here when the page opens.
    pub first: bool,
    /// Of a filter, where every field may be empty and none says so.
    pub filters: bool,
    /// The most characters it may hold; `None`: those of its kind.
    pub most: Option<usize>,
    /// What is said beside its label when it may be left empty.
    pub may: &'static str,
}

impl Field {
    /// A field of any kind.
    pub fn new(name: &'static str, label: impl Into<String>, kind: Kind) -> Self {
        Self {
            name,
            within: String::new(),
            label: label.into(),
            hint: String::new(),
            kind,
            values: Vec::new(),
            fault: None,
            needed: false,
            autocomplete: "off",
            attributes: Vec::new(),
            first: false,
            filters: false,
            most: None,
            may: "if any",
        }
    }

    /// One line of text.
    pub fn text(name: &'static str, label: impl Into<String>) -> Self {
        Self::new(name, label, Kind::Line("text"))
    }

    /// A password.
    pub fn password(name: &'static str, label: impl Into<String>) -> Self {
        Self::new(name, label, Kind::Line("password"))
    }

    /// A day.
    pub fn date(name: &'static str, label: impl Into<String>) -> Self {
        Self::new(name, label, Kind::Line("date"))
    }

    /// A time of day.
    pub fn time(name: &'static str, label: impl Into<String>) -> Self {
        Self::new(name, label, Kind::Line("time"))
    }

    /// A number; the step is `1` for whole ones, `any` or a decimal.
    pub fn number(name: &'static str, label: impl Into<String>, step: &str) -> Self {
        Self::new(name, label, Kind::Line("number")).with("step", step).with("inputmode", "decimal")
    }

    /// Several lines.
    pub fn lines(name: &'static str, label: impl Into<String>, rows: usize) -> Self {
        Self::new(name, label, Kind::Lines(rows))
    }

    /// One of a list, from a menu: value and words.
    pub fn menu(name: &'static str, label: impl Into<String>, of: Vec<(String, String)>) -> Self {
        Self::new(name, label, Kind::Menu(of))
    }

    /// One of a few, all in sight: value and words.
    pub fn one(name: &'static str, label: impl Into<String>, of: Vec<(String, String)>) -> Self {
        Self::new(name, label, Kind::One(of))
    }

    /// Any of a few: value and words.
    pub fn some(name: &'static str, label: impl Into<String>, of: Vec<(String, String)>) -> Self {
        Self::new(name, label, Kind::Some(of))
    }

    /// A box to tick.
    pub fn tick(name: &'static str, label: impl Into<String>) -> Self {
        Self::new(name, label, Kind::Tick)
    }

    /// Carried along, not shown.
    pub fn hidden(name: &'static str, value: impl Into<String>) -> Self {
        Self::new(name, "", Kind::Hidden).value(value)
    }

    /// With words on what to write.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = hint.into();
        self
    }

    /// May not be left empty.
    #[must_use]
    pub fn needed(mut self) -> Self {
        self.needed = true;
        self
    }

    /// With something in it already.
    #[must_use]
    pub fn value(mut self, value: impl Into<String>) -> Self {
        self.values = vec![value.into()];
        self
    }

    /// With several chosen already.
    #[must_use]
    pub fn chosen(mut self, values: Vec<String>) -> Self {
        self.values = values;
        self
    }

    /// With the browser's word for what belongs here.
    #[must_use]
    pub fn autocomplete(mut self, word: &'static str) -> Self {
        self.autocomplete = word;
        self
    }

    /// With a further attribute of the control, such as `min`.
    #[must_use]
    pub fn with(mut self, attribute: &'static str, value: impl Into<String>) -> Self {
        self.attributes.push((attribute, value.into()));
        self
    }

    /// The cursor is here when the page opens.
    #[must_use]
    pub fn first(mut self) -> Self {
        self.first = true;
        self
    }

    /// Of a filter, where every field may be empty and none says so.
    #[must_use]
    pub fn filters(mut self) -> Self {
        self.filters = true;
        self
    }

    /// With the most characters it may hold.
    #[must_use]
    pub fn most(mut self, characters: usize) -> Self {
        self.most = Some(characters);
        self
    }

    /// With as many characters as the column of the record holds that it goes into.
    #[must_use]
    pub fn of(self, table: &str, column: &str) -> Self {
        self.most(text::most(table, column))
    }

    /// With words for when it may be left empty, in the place of `if any`.
    #[must_use]
    pub fn may(mut self, words: &'static str) -> Self {
        self.may = words;
        self
    }

    /// What is wrong with a value by itself.
    fn wrong(&self, value: &str) -> Option<String> {
        self.unfit(value).or_else(|| self.no_number(value))
    }

    /// What is wrong with a number: it is none, not a whole one, or out of the range its control shows.
    fn no_number(&self, value: &str) -> Option<String> {
        let value = value.trim().replace(',', ".");
        if self.kind != Kind::Line("number") || value.is_empty() {
            return None;
        }
        let Some(number) = value.parse::<f64>().ok().filter(|number| number.is_finite()) else {
            return Some("This is no number.".to_owned());
        };
        let of = |name: &str| self.attributes.iter().find(|(known, _)| *known == name);
        if of("step").is_some_and(|(_, step)| step == "1") && value.parse::<i64>().is_err() {
            return Some("This is no whole number, or one too large.".to_owned());
        }
        let edge = |name: &str| of(name).and_then(|(_, edge)| edge.parse::<f64>().ok());
        match (edge("min"), edge("max")) {
            (Some(min), _) if number < min => Some(format!("This is less than {min}.")),
            (_, Some(max)) if number > max => Some(format!("This is more than {max}.")),
            _ => None,
        }
    }

    /// What is wrong with a text as such: its length, or a sign in it that cannot be seen.
    fn unfit(&self, value: &str) -> Option<String> {
        let lines = matches!(self.kind, Kind::Lines(_) | Kind::Hidden);
        let most = self.most.unwrap_or(if lines { text::LINES } else { text::LINE });
        if let Some(words) = text::too_long(value, most) {
            return Some(format!("This is too long: {words}."));
        }
        let is_password = self.kind == Kind::Line("password");
        let sign = text::strange(value.trim(), lines).filter(|_| !is_password)?;
        Some(format!(
            "This holds a sign that cannot be seen, U+{:04X}. Write it again by hand, without what was pasted.",
            u32::from(sign)
        ))
    }

    /// What stands in it; nothing for a password, which is never sent back.
    pub fn shown(&self) -> &str {
        if self.kind == Kind::Line("password") {
            return "";
        }
        self.values.first().map_or("", String::as_str)
    }

    /// Whether a value is chosen.
    pub fn has(&self, value: &str) -> bool {
        self.values.iter().any(|one| one == value)
    }

    /// Whether one of those on offer is chosen.
    fn has_any(&self, of: &[(String, String)]) -> bool {
        of.iter().any(|one| self.has(&one.0))
    }

    /// The id of the control.
    fn id(&self) -> String {
        format!("{}{}", self.within, self.name)
    }

    /// What the control is described by: its hint, its fault.
    fn described_by(&self) -> String {
        let hint = (!self.hint.is_empty()).then(|| format!("{}-hint", self.id()));
        let fault = self.fault.is_some().then(|| format!("{}-fault", self.id()));
        hint.into_iter().chain(fault).collect::<Vec<_>>().join(" ")
    }

    /// The id of the control a fault leads to.
    fn target(&self) -> String {
        match &self.kind {
            Kind::One(of) | Kind::Some(of) if !of.is_empty() => format!("{}-0", self.id()),
            _ => self.id(),
        }
    }
}

/// A form that is sent to one place.
#[derive(Clone, Debug, PartialEq, Eq, Template)]
#[template(path = "form.html")]
pub struct Form {
    /// Where it is sent.
    pub action: String,
    /// Word on its button.
    pub button: String,
    /// The fields in order.
    pub fields: Vec<Field>,
    /// What is wrong, of no single field: sentence and hint.
    pub faults: Vec<(String, String)>,
    /// The proof that it came from a page of ours.
    pub csrf: String,
    /// Where to go instead: path and word.
    pub back: Option<(String, String)>,
    /// Whether its act is hard to take back.
    pub grave: bool,
    /// Whether it carries a file.
    pub file: bool,
}

impl Form {
    /// A form without fields.
    pub fn new(csrf: &str, action: impl Into<String>, button: impl Into<String>) -> Self {
        Self {
            action: action.into(),
            button: button.into(),
            fields: Vec::new(),
            faults: Vec::new(),
            csrf: csrf.to_owned(),
            back: None,
            grave: false,
            file: false,
        }
    }

    /// With a field more.
    #[must_use]
    pub fn field(mut self, mut field: Field) -> Self {
        let path = self.action.trim_matches('/').replace('/', "-");
        field.within = format!("{path}-");
        self.fields.push(field);
        self
    }

    /// With a way out.
    #[must_use]
    pub fn back(mut self, path: impl Into<String>, word: impl Into<String>) -> Self {
        self.back = Some((path.into(), word.into()));
        self
    }

    /// Its act is hard to take back.
    #[must_use]
    pub fn grave(mut self) -> Self {
        self.grave = true;
        self
    }

    /// With what was typed.
    #[must_use]
    pub fn filled(mut self, typed: &Typed) -> Self {
        for field in &mut self.fields {
            field.values = typed.all(field.name);
            // Only a choice of several is sent more than once by a page of ours.
            if !matches!(field.kind, Kind::Some(_)) {
                field.values.truncate(1);
            }
        }
        self
    }

    /// With a fault at every needed field that is empty, every choice that is not on offer, every number
    /// that is none, and every text that is too long or holds a sign that cannot be seen.
    #[must_use]
    pub fn checked(mut self) -> Self {
        for field in &mut self.fields {
            let empty = field.values.iter().all(|value| value.trim().is_empty());
            let offered = match &field.kind {
                Kind::Menu(of) | Kind::One(of) | Kind::Some(of) => field
                    .values
                    .iter()
                    .all(|value| value.is_empty() || of.iter().any(|one| one.0 == *value)),
                _ => true,
            };
            if field.needed && empty {
                field.fault = Some(match field.kind {
                    Kind::Menu(_) | Kind::One(_) | Kind::Some(_) => "Choose one.".to_owned(),
                    Kind::Tick => "Tick this, or do not send the form.".to_owned(),
                    _ => "Fill this in.".to_owned(),
                });
            } else if !offered {
                field.fault = Some("Choose one of those on offer.".to_owned());
            } else if let Some(fault) = field.values.iter().find_map(|value| field.wrong(value)) {
                field.fault = Some(fault);
            }
        }
        self
    }

    /// With a fault at a field.
    pub fn fault(&mut self, name: &str, says: impl Into<String>) {
        match self.fields.iter_mut().find(|field| field.name == name) {
            Some(field) => field.fault = Some(says.into()),
            None => self.faults.push((says.into(), String::new())),
        }
    }

    /// With what the record refused. A refusal's code may name its field in `at`; all others stand at the head.
    /// Any other error is given back.
    ///
    /// # Errors
    /// The error itself, when it is no refusal.
    pub fn refused(&mut self, error: StoreError, at: &[(&str, &str)]) -> Result<(), StoreError> {
        let StoreError::Refused(all) = error else { return Err(error) };
        for one in all {
            let says = sentence(&one.says);
            match at.iter().find(|(code, _)| *code == one.code) {
                Some((_, name)) if one.hint.is_empty() => self.fault(name, says),
                Some((_, name)) => self.fault(name, format!("{says} {}", sentence(&one.hint))),
                None => self.faults.push((says, sentence(&one.hint))),
            }
        }
        Ok(())
    }

    /// Whether anything is wrong.
    pub fn has_faults(&self) -> bool {
        !self.faults.is_empty() || self.fields.iter().any(|field| field.fault.is_some())
    }

    /// One field as HTML, for a page that places its fields itself between [`Form::head`] and its own end.
    pub fn part(&self, name: &str) -> String {
        let field = self.fields.iter().find(|field| field.name == name);
        field.and_then(|field| field.render().ok()).unwrap_or_default()
    }

    /// The proof, the hidden fields and the list of faults, for a page that writes its own `form` element.
    pub fn head(&self) -> String {
        Head { form: self }.render().unwrap_or_default()
    }

    fn faulty(&self) -> Vec<(String, &str, &str)> {
        let faults = self.fields.iter().filter_map(|field| {
            Some((field.target(), field.label.as_str(), field.fault.as_deref()?))
        });
        faults.collect()
    }
}

#[derive(Template)]
#[template(path = "form_head.html")]
struct Head<'a> {
    form: &'a Form,
}

/// A refusal's words as a sentence: a capital and a full stop. A word that has its own capitals, such as tcPCO2, stays
/// as it is.
pub fn sentence(words: &str) -> String {
    let mut letters = words.trim().chars();
    let Some(first) = letters.next() else { return String::new() };
    let word = words.trim().split(|c: char| !c.is_alphanumeric()).next().unwrap_or_default();
    let own = word.chars().skip(1).any(char::is_uppercase);
    let text: String =
        if own { words.trim().to_owned() } else { first.to_uppercase().chain(letters).collect() };
    if text.ends_with(['.', '?', '!']) { text } else { format!("{text}.") }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn form() -> Form {
        Form::new("t", "/x", "Send")
            .field(Field::text("login", "Login").needed())
            .field(Field::password("password", "Password").needed())
            .field(Field::one("role", "Role", vec![("desk".to_owned(), "desk".to_owned())]))
    }

    #[test]
    fn what_was_typed_is_kept_but_never_a_password() {
        let typed = Typed::of(&[("login", "a<b"), ("password", "hush"), ("role", "king")]);
        let html = form().filled(&typed).checked().render().unwrap();
        assert!(html.contains("value=\"a&#60;b\"") && !html.contains("hush"), "{html}");
        assert!(html.contains("Choose one of those on offer."));
    }

    #[test]
    fn an_empty_needed_field_is_told_at_the_field_and_at_the_head() {
        let html = form().filled(&Typed::default()).checked().render().unwrap();
        assert_eq!(html.matches("Fill this in.").count(), 4, "{html}");
        assert!(html.contains("href=\"#x-login\"") && html.contains("aria-invalid=\"true\""));
    }

    #[test]
    fn a_refusal_stands_at_its_field_when_its_code_has_one() {
        let mut form = form();
        let two = StoreError::Refused(vec![
            store::error::Refusal::new("login_taken", "the login is taken", "choose another"),
            store::error::Refusal::new("other", "it rains", ""),
        ]);
        form.refused(two, &[("login_taken", "login")]).unwrap();
        assert_eq!(form.fields[0].fault.as_deref(), Some("The login is taken. Choose another."));
        assert_eq!(form.faults, [("It rains.".to_owned(), String::new())]);
    }
}
