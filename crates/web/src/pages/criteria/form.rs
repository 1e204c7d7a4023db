//! The editor's fields: one for each value of the set, its rules and its questions, and what was typed as a set.

use engine::criteria::Criteria;
use engine::criteria::Own;
use engine::criteria::Question;
use engine::criteria::Rule;
use engine::criteria::SECTIONS;
use engine::criteria::Setting;
use engine::criteria::Stated;
use engine::criteria::Value;
use engine::criteria::own_rule_ids;
use engine::criteria::own_rules;
use engine::criteria::published_rule_text;
use engine::criteria::published_rules;
use store::criteria::adoption::DEPARTMENT;

use super::rows::amount;
use crate::form::sentence;
use crate::typed::Typed;

/// Every field of a draft.
pub(super) struct Fields {
    pub(super) title: String,
    pub(super) version: String,
    pub(super) parts: Vec<Part>,
    pub(super) rules: Vec<Group>,
    pub(super) own_rules: String,
    pub(super) copies: Vec<(String, String)>,
    pub(super) questions: Vec<Needs>,
    /// What is wrong: the field's id, its label, and what.
    pub(super) faults: Vec<(String, String, String)>,
}

/// A part of the set.
pub(super) struct Part {
    pub(super) section: &'static str,
    pub(super) title: String,
    pub(super) differ: usize,
    pub(super) lines: Vec<Line>,
}

impl Part {
    /// Whether a value of it is wrong.
    pub(super) fn has_faults(&self) -> bool {
        self.lines.iter().any(|line| line.fault.is_some())
    }
}

/// One value.
pub(super) struct Line {
    pub(super) id: String,
    pub(super) meaning: &'static str,
    pub(super) key: &'static str,
    pub(super) unit: &'static str,
    pub(super) value: String,
    pub(super) source: String,
    pub(super) shipped: String,
    pub(super) range: String,
    pub(super) differs: bool,
    pub(super) fault: Option<String>,
}

/// Rules that belong together.
pub(super) struct Group {
    pub(super) title: &'static str,
    pub(super) open: bool,
    pub(super) rules: Vec<Tick>,
}

/// A rule to be asked or not.
pub(super) struct Tick {
    pub(super) id: String,
    pub(super) words: String,
    pub(super) source: String,
    pub(super) on: bool,
}

/// A question with the rules it needs.
pub(super) struct Needs {
    pub(super) id: String,
    pub(super) asks: String,
    pub(super) rules: Vec<Tick>,
    pub(super) fault: Option<String>,
}

fn id_of(section: &str, key: &str) -> String {
    format!("{section}.{key}")
}

impl Fields {
    /// The fields of a draft that the engine can read.
    pub(super) fn of(text: &str, set: &Criteria, base: &Criteria) -> Self {
        let published = published_rules().unwrap_or_default();
        let own = own_rule_ids(text);
        Self {
            title: set.title.clone(),
            version: set.version.clone(),
            parts: parts(set, base),
            rules: groups(set, base, &published, &own),
            own_rules: own_rules(text),
            copies: published.iter().map(|rule| (rule.id.clone(), rule.asks.clone())).collect(),
            questions: set.questions.iter().map(|question| needs(question, set)).collect(),
            faults: Vec::new(),
        }
    }

    /// With what was typed in place of what stood there.
    pub(super) fn filled(mut self, typed: &Typed) -> Self {
        typed.get("title").clone_into(&mut self.title);
        typed.get("version").clone_into(&mut self.version);
        self.own_rules = typed.raw("own_rules").replace("\r\n", "\n");
        for line in self.parts.iter_mut().flat_map(|part| &mut part.lines) {
            typed.get(&format!("v-{}", line.id)).clone_into(&mut line.value);
            typed.get(&format!("s-{}", line.id)).clone_into(&mut line.source);
        }
        let on = typed.all("rule");
        for tick in self.rules.iter_mut().flat_map(|group| &mut group.rules) {
            tick.on = on.contains(&tick.id);
        }
        for question in &mut self.questions {
            let on = typed.all(&format!("need-{}", question.id));
            for tick in &mut question.rules {
                tick.on = on.contains(&tick.id);
            }
        }
        self
    }

    /// What stands in the fields as a set over `base`; `None` when a field is wrong, which then says so.
    pub(super) fn read(&mut self, draft: &Own, base: &Criteria, copy: &str) -> Option<Own> {
        let mut own = draft.clone();
        own.head.title.clone_from(&self.title);
        own.head.version.clone_from(&self.version);
        for (id, label, text) in
            [("title", "Title", &self.title), ("version", "Version", &self.version)]
        {
            if text.is_empty() {
                self.faults.push((id.to_owned(), label.to_owned(), "Fill this in.".to_owned()));
            }
        }
        own.values = self.values(base);
        let on = |tick: &&Tick| tick.on;
        let ticked = self.rules.iter().flat_map(|group| &group.rules).filter(on);
        let mut ids: Vec<String> = ticked.map(|tick| tick.id.clone()).collect();
        own.own_rules.clone_from(&self.own_rules);
        if let Some(rule) = copied(copy, &self.own_rules) {
            own.own_rules = format!("{}\n{rule}", own.own_rules.trim_end());
            ids.extend(own_rule_ids(&rule));
        }
        own.rules = in_order(ids, &draft.rules, base);
        self.needs_of(&mut own);
        self.faults.is_empty().then_some(own)
    }

    fn values(&mut self, base: &Criteria) -> Vec<Stated> {
        let shipped = base.values();
        let lines = self
            .parts
            .iter_mut()
            .flat_map(|part| part.lines.iter_mut().map(|line| (part.section, line)));
        let mut values = Vec::new();
        for ((section, line), shipped) in lines.zip(&shipped) {
            match setting(line, shipped) {
                Ok(setting) => {
                    let (section, key) = (section.to_owned(), line.key.to_owned());
                    values.push(Stated { section, key, setting });
                }
                Err(says) => {
                    self.faults.push((
                        format!("v-{}", line.id),
                        line.meaning.to_owned(),
                        says.clone(),
                    ));
                    line.fault = Some(says);
                }
            }
        }
        values
    }

    fn needs_of(&mut self, own: &mut Own) {
        for (question, kept) in self.questions.iter_mut().zip(&mut own.questions) {
            let on: Vec<&Tick> = question.rules.iter().filter(|tick| tick.on).collect();
            let unasked = on.iter().find(|tick| !own.rules.contains(&tick.id));
            let says = match (on.is_empty(), unasked) {
                (true, _) => "A question needs at least one rule.".to_owned(),
                (_, Some(tick)) => format!(
                    "It needs “{}”, which is not asked any more: tick that rule above, or untick it here.",
                    tick.words
                ),
                _ => {
                    kept.needs = on.iter().map(|tick| tick.id.clone()).collect();
                    continue;
                }
            };
            self.faults.push((
                format!("need-{}-0", question.id),
                question.asks.clone(),
                says.clone(),
            ));
            question.fault = Some(says);
        }
    }
}

/// A value as it was typed, with its source.
fn setting(line: &Line, shipped: &Value<'_>) -> Result<Setting, String> {
    let (lowest, highest) = shipped.range();
    let value = line.value.replace(',', ".").parse::<f64>().ok();
    let value = value
        .filter(|value| (lowest..=highest).contains(value))
        .ok_or_else(|| format!("A number from {}.", line.range))?;
    let same = value.total_cmp(&shipped.setting.value).is_eq();
    let source = match (line.source.as_str(), same) {
        // The shipped value put back has its shipped source again.
        ("" | DEPARTMENT, true) => &shipped.setting.source,
        ("", false) => DEPARTMENT,
        (source, false) if source == shipped.setting.source && !unchecked(source) => {
            let (key, gives) = (source, shipped.setting.value);
            return Err(format!(
                "{key} gives {gives}: name the source of your value, or leave the source empty."
            ));
        }
        (source, _) => source,
    };
    Ok(Setting { value, source: source.to_owned() })
}

/// Whether a source is no publication.
fn unchecked(source: &str) -> bool {
    [DEPARTMENT, "common practice", "from memory"].contains(&source)
}

/// A published rule to be worded anew, under an id of its own.
fn copied(id: &str, own: &str) -> Option<String> {
    let text = published_rule_text(id)?;
    let taken = own_rule_ids(own);
    let mut names =
        (1..).map(|n: u32| if n == 1 { format!("{id}_own") } else { format!("{id}_own_{n}") });
    let name = names.find(|name| !taken.contains(name))?;
    let source = text.lines().find(|line| line.starts_with("source ="))?.to_owned();
    let own_source = format!("source = \"{DEPARTMENT}\"");
    Some(text.replacen(&format!("\"{id}\""), &format!("\"{name}\""), 1).replacen(
        &source,
        &own_source,
        1,
    ))
}

/// Ids in the order they stood in, then in that of the shipped set, then the others.
fn in_order(ids: Vec<String>, before: &[String], base: &Criteria) -> Vec<String> {
    let mut order: Vec<String> = before.to_vec();
    // A rule taken off and put back stands where the shipped set has it.
    let shipped: Vec<String> = base.rules.iter().map(|rule| rule.id.clone()).collect();
    if ids.len() == shipped.len() && shipped.iter().all(|id| ids.contains(id)) {
        return shipped;
    }
    order.extend(shipped.into_iter().filter(|id| !before.contains(id)));
    let place = |id: &String| order.iter().position(|one| one == id).unwrap_or(usize::MAX);
    let mut ids = ids;
    ids.sort_by_key(place);
    ids
}

fn parts(set: &Criteria, base: &Criteria) -> Vec<Part> {
    let both: Vec<(Value<'_>, Value<'_>)> = set.values().into_iter().zip(base.values()).collect();
    let part = |(section, title): &(&'static str, &str)| {
        let lines: Vec<Line> =
            both.iter().filter(|(own, _)| own.section == *section).map(value).collect();
        Part {
            section,
            title: sentence(title).trim_end_matches('.').to_owned(),
            differ: lines.iter().filter(|line| line.differs).count(),
            lines,
        }
    };
    SECTIONS.iter().map(part).collect()
}

fn value((own, shipped): &(Value<'_>, Value<'_>)) -> Line {
    let differs = own.setting != shipped.setting;
    let (lowest, highest) = own.range();
    Line {
        id: id_of(own.section, own.key),
        meaning: own.meaning,
        key: own.key,
        unit: own.unit,
        value: own.setting.value.to_string(),
        source: if differs { own.setting.source.clone() } else { String::new() },
        shipped: format!("{}, {}", amount(shipped), shipped.setting.source),
        range: format!("{lowest} to {highest} {}", own.unit).trim_end().to_owned(),
        differs,
        fault: None,
    }
}

fn tick(rule: &Rule, on: bool) -> Tick {
    Tick { id: rule.id.clone(), words: rule.asks.clone(), source: rule.source.clone(), on }
}

fn groups(set: &Criteria, base: &Criteria, published: &[Rule], own: &[String]) -> Vec<Group> {
    let on = |rule: &&Rule| set.rules.iter().any(|one| one.id == rule.id);
    let in_base = |rule: &&Rule| base.rules.iter().any(|one| one.id == rule.id);
    let ticks = |rules: Vec<&Rule>| rules.into_iter().map(|rule| tick(rule, on(&rule))).collect();
    let shipped: Vec<&Rule> = base.rules.iter().collect();
    let others: Vec<&Rule> = published.iter().filter(|rule| !in_base(rule)).collect();
    let any = others.iter().any(on);
    let own = own.iter().map(|id| match set.rules.iter().find(|rule| rule.id == *id) {
        Some(rule) => tick(rule, true),
        None => Tick {
            id: id.clone(),
            words: id.clone(),
            source: "department setting".to_owned(),
            on: false,
        },
    });
    let groups = vec![
        Group { title: "Asked by the shipped set", open: true, rules: ticks(shipped) },
        Group { title: "The department's own", open: true, rules: own.collect() },
        Group { title: "Other published rules", open: any, rules: ticks(others) },
    ];
    groups.into_iter().filter(|group| !group.rules.is_empty()).collect()
}

fn needs(question: &Question, set: &Criteria) -> Needs {
    let rules = set.rules.iter().map(|rule| tick(rule, question.needs.contains(&rule.id)));
    Needs {
        id: question.id.clone(),
        asks: question.asks.clone(),
        rules: rules.collect(),
        fault: None,
    }
}

#[cfg(test)]
mod tests {
    use engine::criteria::shipped;
    use engine::criteria::shipped_text;

    use super::*;

    const TEXT: &str = "name = \"adult-air\"\nversion = \"2026.1-1\"\ntitle = \"Adult, breathing air\"\nbased_on = \"adult-air\"\n";

    /// The form as a browser sends it untouched, with some fields typed otherwise.
    fn sent(fields: &Fields, changes: &[(&str, &str)]) -> Typed {
        let mut all = vec![
            ("title".to_owned(), fields.title.clone()),
            ("version".to_owned(), fields.version.clone()),
        ];
        for line in fields.parts.iter().flat_map(|part| &part.lines) {
            all.push((format!("v-{}", line.id), line.value.clone()));
            all.push((format!("s-{}", line.id), line.source.clone()));
        }
        let on = fields.rules.iter().flat_map(|group| &group.rules).filter(|tick| tick.on);
        all.extend(on.map(|tick| ("rule".to_owned(), tick.id.clone())));
        for question in &fields.questions {
            let on = question.rules.iter().filter(|tick| tick.on);
            all.extend(on.map(|tick| (format!("need-{}", question.id), tick.id.clone())));
        }
        for (name, value) in changes {
            match all.iter_mut().find(|(known, _)| known == name) {
                Some(field) => (*value).clone_into(&mut field.1),
                None => all.push(((*name).to_owned(), (*value).to_owned())),
            }
        }
        let all: Vec<(&str, &str)> = all.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
        Typed::of(&all)
    }

    /// The draft's text after the form was sent with some fields changed, or its faults.
    fn after(text: &str, changes: &[(&str, &str)], copy: &str) -> Result<String, Vec<String>> {
        let base = shipped("adult-air").unwrap();
        let set = store::criteria::sets::parsed(text).unwrap();
        let fields = Fields::of(text, &set, &base);
        let typed = sent(&fields, changes);
        let mut fields = fields.filled(&typed);
        match fields.read(&Own::of(text, &set), &base, copy) {
            Some(own) => Ok(own.text(&base)),
            None => Err(fields.faults.into_iter().map(|(_, _, says)| says).collect()),
        }
    }

    #[test]
    fn a_form_sent_as_it_was_shown_changes_nothing() {
        assert_eq!(after(TEXT, &[], "").unwrap(), TEXT);
        for name in ["child", "adult-ventilation"] {
            // A set that differs in values, rules and questions.
            let shipped = shipped_text(name).unwrap();
            let set = store::criteria::sets::parsed(shipped).unwrap();
            let text = Own::of(shipped, &set).text(&self::shipped("adult-air").unwrap());
            assert_eq!(after(&text, &[], "").unwrap(), text);
        }
    }

    #[test]
    fn a_changed_value_without_a_source_is_a_department_setting() {
        let line = |changes: &[(&str, &str)]| after(TEXT, changes, "").unwrap().replace(TEXT, "");
        let value = "v-judge.spo2_least_h";
        assert_eq!(
            line(&[(value, "5,5")]),
            "\n[judge]\nspo2_least_h = { value = 5.5, source = \"department setting\" }\n"
        );
        assert_eq!(
            line(&[(value, "5"), ("s-judge.spo2_least_h", "selby-2024")]),
            "\n[judge]\nspo2_least_h = { value = 5, source = \"selby-2024\" }\n"
        );
        let changed = after(TEXT, &[(value, "5")], "").unwrap();
        assert_eq!(after(&changed, &[(value, "4")], "").unwrap(), TEXT);
    }

    #[test]
    fn what_cannot_be_is_told_at_its_field() {
        let fault = |changes: &[(&str, &str)]| after(TEXT, changes, "").unwrap_err().join(" ");
        assert_eq!(fault(&[("v-judge.spo2_least_h", "many")]), "A number from 0 to 48 h.");
        assert_eq!(fault(&[("v-screen.spo2_lowest_pct", "101")]), "A number from 0 to 100 %.");
        let borrowed =
            fault(&[("v-judge.spo2_least_h", "5"), ("s-judge.spo2_least_h", "griffon-2020")]);
        assert!(borrowed.starts_with("griffon-2020 gives 4: name the source"), "{borrowed}");
        let unasked = fault(&[("rule", "")]);
        assert!(unasked.contains("which is not asked any more"), "{unasked}");
        assert_eq!(fault(&[("version", "")]), "Fill this in.");
    }

    #[test]
    fn a_published_rule_is_copied_under_a_name_of_its_own_and_asked() {
        let once = after(TEXT, &[], "co2_mean_above_50mmhg").unwrap();
        assert!(once.contains("id = \"co2_mean_above_50mmhg_own\"\n"), "{once}");
        assert!(once.contains("  \"co2_mean_above_50mmhg_own\",\n]"), "{once}");
        store::criteria::adoption::sound("adult-air", &once).unwrap();
        let rules = own_rules(&once);
        let twice = after(&once, &[("own_rules", &rules)], "co2_mean_above_50mmhg").unwrap();
        assert!(twice.contains("co2_mean_above_50mmhg_own_2"), "{twice}");
    }
}
