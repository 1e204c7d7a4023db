//! Reading the acts: by author, thing, person and day.

use crate::error::Result;
use crate::record::db::Bind;
use crate::record::db::Conn;

/// Which acts are asked for. What is `None` is not asked.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Asked {
    /// The author's login.
    pub who: Option<String>,
    /// The act, whole or its beginning: `login`, `account`.
    pub verb: Option<String>,
    /// The thing, whole or its kind: `loan 12`, `loan`.
    pub object: Option<String>,
    /// The person whose data it touched, by row.
    pub person: Option<i64>,
    /// From this instant on.
    pub from_at: Option<i64>,
    /// Before this instant.
    pub before_at: Option<i64>,
    /// Before this act, for the next page.
    pub before_seq: Option<i64>,
}

/// One act, as it is read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// Its number.
    pub seq: i64,
    /// When, seconds since 1970.
    pub at: i64,
    /// Who, by login.
    pub who: String,
    /// In what role.
    pub role: String,
    /// From where.
    pub station: String,
    /// What was done.
    pub verb: String,
    /// To what.
    pub object: String,
    /// Whose data it touched, by row.
    pub person: Option<i64>,
    /// The reason given; `None` when none was, or its body was destroyed.
    pub reason: Option<String>,
    /// The program that did it.
    pub software: String,
    /// Its link of the chain.
    pub hash: String,
}

#[derive(sqlx::FromRow)]
struct Row {
    seq: i64,
    at: i64,
    who: String,
    role: String,
    station: String,
    verb: String,
    object: String,
    person: Option<i64>,
    software: String,
    body: Option<String>,
    hash: String,
}

impl Row {
    fn read(self) -> Line {
        let body = self.body.and_then(|body| serde_json::from_str::<serde_json::Value>(&body).ok());
        let reason = body.as_ref().and_then(|body| body.get("reason")?.as_str()).map(str::to_owned);
        Line {
            seq: self.seq,
            at: self.at,
            who: self.who,
            role: self.role,
            station: self.station,
            verb: self.verb,
            object: self.object,
            person: self.person,
            reason,
            software: self.software,
            hash: self.hash,
        }
    }
}

impl Asked {
    /// The filter as the end of a statement, and its values in order.
    fn filter(&self) -> (String, Vec<Bind>) {
        let mut parts: Vec<String> = Vec::new();
        let mut with: Vec<Bind> = Vec::new();
        let mut add = |test: &str, value: Bind| {
            with.push(value);
            parts.push(test.replace('?', &format!("${}", with.len())));
        };
        let whole_or_begun = |text: &String, sign: &str| {
            let plain = text.replace('\\', "\\\\").replace('%', "\\%").replace('_', "\\_");
            format!("{plain}{sign}%")
        };
        if let Some(who) = &self.who {
            add("who = ?", who.as_str().into());
        }
        if let Some(verb) = &self.verb {
            add("(verb || '.') LIKE ? ESCAPE '\\'", whole_or_begun(verb, ".").into());
        }
        if let Some(object) = &self.object {
            add("(object || ' ') LIKE ? ESCAPE '\\'", whole_or_begun(object, " ").into());
        }
        if let Some(person) = self.person {
            add("person = ?", person.into());
        }
        for (test, value) in
            [("at >= ?", self.from_at), ("at < ?", self.before_at), ("seq < ?", self.before_seq)]
        {
            if let Some(value) = value {
                add(test, value.into());
            }
        }
        let text =
            if parts.is_empty() { String::new() } else { format!("WHERE {}", parts.join(" AND ")) };
        (text, with)
    }
}

impl Conn {
    /// Acts asked for, the latest first.
    pub async fn acts(&mut self, asked: &Asked, most: i64) -> Result<Vec<Line>> {
        let (filter, with) = asked.filter();
        let text = format!(
            "SELECT seq, at, who, role, station, verb, object, person, software, body, hash FROM act {filter} ORDER BY seq DESC LIMIT {most}"
        );
        let rows: Vec<Row> = on!(self, c => {
            let mut query = sqlx::query_as(sqlx::AssertSqlSafe(text));
            for value in with {
                query = match value {
                    Bind::Int(number) => query.bind(number),
                    Bind::Text(text) => query.bind(text),
                };
            }
            query.fetch_all(c).await
        })?;
        Ok(rows.into_iter().map(Row::read).collect())
    }

    /// How many acts are asked for, whatever page is shown.
    pub async fn acts_count(&mut self, asked: &Asked) -> Result<i64> {
        let (filter, with) = Asked { before_seq: None, ..asked.clone() }.filter();
        let text = format!("SELECT COUNT(*) FROM act {filter}");
        Ok(on!(self, c => {
            let mut query = sqlx::query_scalar::<_, i64>(sqlx::AssertSqlSafe(text));
            for value in with {
                query = match value {
                    Bind::Int(number) => query.bind(number),
                    Bind::Text(text) => query.bind(text),
                };
            }
            query.fetch_one(c).await
        })?)
    }

    /// The last act; `None` in a new record.
    pub async fn last_act(&mut self) -> Result<Option<Line>> {
        Ok(self.acts(&Asked::default(), 1).await?.into_iter().next())
    }
}
