//! The department's own texts: sections of sentences with places to be filled.
//!
//! A text is data, edited by the department. What must never be lost from it is asked for here by the
//! section's id and by the places that its words must use.

use serde::Deserialize;

/// Why a department's text cannot be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TextError {
    /// Where: the section, or the line of the file.
    pub place: String,
    /// The thing, what is wrong, expected and found.
    pub what: String,
    /// What to do next.
    pub hint: String,
}

impl TextError {
    fn new(place: impl Into<String>, what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { place: place.into(), what: what.into(), hint: hint.into() }
    }
}

impl std::fmt::Display for TextError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.place, self.what)
    }
}

impl std::error::Error for TextError {}

/// What a kind of text may use and must hold.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shape {
    /// Places that its words may have, without braces.
    pub(crate) places: &'static [&'static str],
    /// Sections that it must have, each with the places that its words must use.
    pub(crate) required: &'static [(&'static str, &'static [&'static str])],
}

/// A text that has been checked against its shape.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Text {
    /// BCP 47 language.
    pub(crate) language: String,
    /// What stands at the top.
    pub(crate) title: String,
    /// Sentences under the title.
    #[serde(default)]
    pub(crate) lines: Vec<String>,
    /// In the order of the file.
    #[serde(default, rename = "section")]
    pub(crate) sections: Vec<Section>,
}

/// A part of a text under one heading.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Section {
    /// What the program knows it by.
    pub(crate) id: String,
    /// What the reader knows it by.
    pub(crate) heading: String,
    /// Paragraphs.
    #[serde(default)]
    pub(crate) lines: Vec<String>,
    /// What is done in turn, numbered.
    #[serde(default)]
    pub(crate) steps: Vec<String>,
    /// Paragraphs after the steps.
    #[serde(default)]
    pub(crate) after: Vec<String>,
}

impl Section {
    /// Every sentence, in the order of reading.
    pub(crate) fn words(&self) -> impl Iterator<Item = &String> {
        self.lines.iter().chain(&self.steps).chain(&self.after)
    }
}

impl Text {
    /// Reads a text and holds it to its shape.
    pub(crate) fn parse(text: &str, shape: Shape) -> Result<Self, TextError> {
        let text: Self = toml::from_str(text).map_err(|error| {
            let line = error.span().map_or(1, |span| text[..span.start].matches('\n').count() + 1);
            TextError::new(
                format!("line {line}"),
                error.message(),
                "mend the line, or start from the text shipped",
            )
        })?;
        for (i, section) in text.sections.iter().enumerate() {
            if text.sections[..i].iter().any(|earlier| earlier.id == section.id) {
                return Err(TextError::new(
                    format!("section `{}`", section.id),
                    "it stands twice, expected once",
                    "give one of them another id, or join them",
                ));
            }
        }
        text.check_places(shape)?;
        text.check_required(shape)?;
        Ok(text)
    }

    /// The section of an id.
    pub(crate) fn section(&self, id: &str) -> Option<&Section> {
        self.sections.iter().find(|section| section.id == id)
    }

    fn check_places(&self, shape: Shape) -> Result<(), TextError> {
        let top = self.lines.iter().chain([&self.title]).map(|line| ("title".to_owned(), line));
        let rest = self.sections.iter().flat_map(|section| {
            let place = format!("section `{}`", section.id);
            section.words().chain([&section.heading]).map(move |line| (place.clone(), line))
        });
        for (place, line) in top.chain(rest) {
            for part in parts(line).map_err(|what| {
                TextError::new(&place, what, "write a place as {phone}, with both braces")
            })? {
                if let Part::Place(name) = part
                    && !shape.places.contains(&name)
                {
                    let known = shape.places.join("}, {");
                    return Err(TextError::new(
                        place,
                        format!("place `{{{name}}}` is not known"),
                        format!("known are {{{known}}}"),
                    ));
                }
            }
        }
        Ok(())
    }

    fn check_required(&self, shape: Shape) -> Result<(), TextError> {
        for (id, places) in shape.required {
            let Some(section) = self.section(id) else {
                return Err(TextError::new(
                    "text",
                    format!("section `{id}` is missing"),
                    "its words may be changed, but it may not be left out",
                ));
            };
            let place = || format!("section `{id}`");
            if section.words().all(|line| line.trim().is_empty()) {
                return Err(TextError::new(
                    place(),
                    "it has no words",
                    "its words may be changed, but not left out",
                ));
            }
            for name in *places {
                if !section.words().any(|line| line.contains(&format!("{{{name}}}"))) {
                    return Err(TextError::new(
                        place(),
                        format!("place `{{{name}}}` is missing"),
                        "whoever reads this section needs it; write it into one of its sentences",
                    ));
                }
            }
        }
        Ok(())
    }
}

/// What stands in the places: a name and its lines.
#[derive(Clone, Debug, Default)]
pub(crate) struct Filling(Vec<(&'static str, Vec<String>)>);

impl Filling {
    /// Puts one text in a place.
    pub(crate) fn with(self, name: &'static str, words: &str) -> Self {
        self.with_lines(name, std::slice::from_ref(&words.to_owned()))
    }

    /// Puts several lines in a place.
    pub(crate) fn with_lines(mut self, name: &'static str, lines: &[String]) -> Self {
        let lines = lines.iter().filter(|line| !line.trim().is_empty()).cloned().collect();
        self.0.push((name, lines));
        self
    }

    /// Each sentence filled; a place that is a sentence by itself becomes one sentence a line.
    pub(crate) fn fill(&self, lines: &[String]) -> Result<Vec<String>, TextError> {
        let mut out = Vec::new();
        for line in lines {
            match parts(line).unwrap_or_default().as_slice() {
                [Part::Place(name)] => out.extend(self.get(name)?.iter().cloned()),
                _ => out.push(self.fill_line(line)?),
            }
        }
        Ok(out)
    }

    /// One sentence filled.
    pub(crate) fn fill_line(&self, line: &str) -> Result<String, TextError> {
        parts(line).unwrap_or_default().into_iter().try_fold(String::new(), |mut out, part| {
            match part {
                Part::Words(words) => out.push_str(words),
                Part::Place(name) => out.push_str(&self.get(name)?.join("; ")),
            }
            Ok(out)
        })
    }

    fn get(&self, name: &str) -> Result<&[String], TextError> {
        self.0
            .iter()
            .find(|(known, lines)| *known == name && !lines.is_empty())
            .map(|(_, lines)| lines.as_slice())
            .ok_or_else(|| {
                TextError::new(
                    format!("place `{{{name}}}`"),
                    "the text uses it, but nothing was given for it",
                    "fill it in the department's settings, or take it out of the text",
                )
            })
    }
}

/// Whether a sentence is one place and nothing else.
pub(crate) fn stands_alone(line: &str) -> bool {
    matches!(parts(line).unwrap_or_default().as_slice(), [Part::Place(_)])
}

/// A piece of a sentence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Part<'a> {
    Words(&'a str),
    Place(&'a str),
}

fn parts(line: &str) -> Result<Vec<Part<'_>>, String> {
    let mut parts = Vec::new();
    let mut rest = line;
    while let Some(at) = rest.find(['{', '}']) {
        let (words, after) = rest.split_at(at);
        if !words.is_empty() {
            parts.push(Part::Words(words));
        }
        let end = after
            .find('}')
            .filter(|end| *end > 0)
            .ok_or_else(|| format!("a brace stands alone in `{line}`"))?;
        parts.push(Part::Place(&after[1..end]));
        rest = &after[end + 1..];
    }
    if !rest.is_empty() {
        parts.push(Part::Words(rest));
    }
    Ok(parts)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHAPE: Shape = Shape { places: &["phone", "where"], required: &[("stop", &["phone"])] };

    fn said(sections: &str) -> String {
        let text = format!("language = \"en-GB\"\ntitle = \"T\"\n{sections}");
        match Text::parse(&text, SHAPE) {
            Ok(_) => "sound".into(),
            Err(error) => error.to_string(),
        }
    }

    fn stop(line: &str) -> String {
        format!("[[section]]\nid = \"stop\"\nheading = \"Stop\"\nlines = [\"{line}\"]\n")
    }

    #[test]
    fn what_must_not_be_lost_is_asked_for() {
        assert_eq!(said(&stop("Ring {phone}.")), "sound");
        assert_eq!(said(""), "text: section `stop` is missing");
        assert_eq!(said(&stop(" ")), "section `stop`: it has no words");
        assert_eq!(said(&stop("Ring us.")), "section `stop`: place `{phone}` is missing");
        let twice = format!("{}{}", stop("Ring {phone}."), stop("Ring {phone}."));
        assert_eq!(said(&twice), "section `stop`: it stands twice, expected once");
    }

    #[test]
    fn a_place_that_is_not_known_is_told_where_it_stands() {
        assert_eq!(
            said(&stop("Ring {phone} or {fax}.")),
            "section `stop`: place `{fax}` is not known"
        );
        for alone in ["Ring {phone", "Ring }phone{", "{"] {
            assert!(said(&stop(alone)).contains("a brace stands alone"), "{alone}");
        }
    }

    #[test]
    fn a_file_that_is_no_text_is_told_with_its_line() {
        assert!(said("colour = \"red\"").starts_with("line 3: unknown field `colour`"));
    }

    #[test]
    fn a_place_alone_becomes_a_line_for_each() {
        let places = ["Front desk".to_owned(), "Ward 3".to_owned()];
        let filling = Filling::default().with("phone", "{where}").with_lines("where", &places);
        let filled = filling.fill(&["{where}".into(), "At {where}. Ring {phone}.".into()]).unwrap();
        // What fills a place is words, even when it looks like a place.
        assert_eq!(filled, ["Front desk", "Ward 3", "At Front desk; Ward 3. Ring {where}."]);
    }

    #[test]
    fn a_place_with_nothing_in_it_is_refused() {
        let error = Filling::default().with("phone", " ").fill(&["Ring {phone}.".into()]);
        assert_eq!(
            error.unwrap_err().to_string(),
            "place `{phone}`: the text uses it, but nothing was given for it"
        );
    }
}
