//! One request as a handler sees it: who asks, what they may, and how a page is made for them.

use std::convert::Infallible;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;

use askama::Template;
use axum::extract::FromRequestParts;
use axum::http::StatusCode;
use axum::http::request::Parts;
use axum::response::Response;
use serde_json::Value;
use store::login::account::author;
use store::login::session::Session;
use store::record::act::Author;
use store::record::chain::sha256;
use store::record::tables::Account;
use store::words::Role;

use crate::access::NAVIGATION;
use crate::access::Right;
use crate::access::may;
use crate::app::App;
use crate::app::Department;
use crate::assets::FOLDER;
use crate::form::Form;
use crate::look::Look;
use crate::page::Answer;
use crate::page::Shell;
use crate::page::Trouble;
use crate::page::TroublePage;
use crate::page::html;
use crate::page::lead_to;

/// One request. The guard makes it; a handler takes it as an argument.
#[derive(Clone, Debug)]
pub struct Visit {
    /// What all requests share.
    pub app: App,
    /// The department as it is set now.
    pub department: Department,
    /// The session; `None` before logging in.
    pub session: Option<Session>,
    /// The secret forms are proved by: the session's token or the visitor's.
    pub(crate) secret: String,
    /// The browser's address.
    pub station: String,
    /// The path asked for, without its query.
    pub path: String,
    /// Asked for by a page that keeps itself up to date: nobody clicked, and only the body is wanted.
    pub background: bool,
    /// The token this browser is known by, as it sent it.
    pub(crate) known: Option<String>,
    /// The session's token, as it was sent; the session may have ended.
    pub(crate) token: Option<String>,
    /// What the answer shows of people, as its handler told.
    pub(crate) looks: Arc<Mutex<Vec<Look>>>,
}

impl Visit {
    /// Who acts.
    pub fn author(&self) -> Author {
        match &self.session {
            Some(session) => author(&session.account, &self.station),
            None => Author {
                login: "-".to_owned(),
                name: "nobody".to_owned(),
                role: Role::Program,
                station: self.station.clone(),
            },
        }
    }

    /// The account logged in.
    ///
    /// # Errors
    /// Before logging in.
    pub fn account(&self) -> Result<&Account, Trouble> {
        self.session.as_ref().map(|session| &session.account).ok_or_else(Trouble::forbidden)
    }

    /// Whether whoever asks has a right; before logging in nobody has any.
    pub fn may(&self, right: Right) -> bool {
        self.session.as_ref().is_some_and(|session| may(session.account.role, right))
    }

    /// The proof a form carries that it came from a page made for this browser.
    pub fn csrf(&self) -> String {
        sha256(format!("form:{}", self.secret).as_bytes())
    }

    /// Tells what the answer shows of a person, or of several. The guard writes it down before the answer leaves;
    /// what a route shows of which nothing is told, it writes by the route's own words.
    pub(crate) fn looks(&self, object: impl Into<String>, person: Option<i64>, facts: Value) {
        let look = Look { object: object.into(), person, facts };
        self.looks.lock().unwrap_or_else(PoisonError::into_inner).push(look);
    }

    /// An attempt beyond one's role. It is written down, whatever the browser says of it; when it cannot be, it is
    /// refused all the same.
    pub(crate) async fn refused(&self, path: &str) -> Trouble {
        self.attempted("access.refused", path).await;
        Trouble::forbidden()
    }

    /// Writes down what somebody attempted at a path.
    pub(crate) async fn attempted(&self, verb: &'static str, path: &str) {
        let wrote = async {
            let mut act = self.app.store().act(&self.author(), verb).await?;
            act.on(path, None);
            act.close().await
        };
        if let Err(error) = wrote.await {
            self.app.log(&format!("a refused attempt could not be written down: {error}"));
        }
    }

    /// The session, or why there is none.
    ///
    /// # Errors
    /// Before logging in.
    pub fn open_session(&self) -> Result<&Session, Trouble> {
        self.session.as_ref().ok_or_else(Trouble::forbidden)
    }

    /// A form of this visit.
    pub fn form(&self, action: impl Into<String>, button: impl Into<String>) -> Form {
        Form::new(&self.csrf(), action, button)
    }

    /// Keeps words that the next page shows at its head.
    pub fn say(&self, words: &str) {
        if let Some(session) = &self.session {
            self.app.say(&session.token_sha256, words);
        }
    }

    /// Says something and leads on.
    pub fn done(&self, words: &str, path: &str) -> Response {
        self.say(words);
        lead_to(path)
    }

    /// Local date and time of an instant, as `2026-11-25 07:30`.
    pub fn local(&self, at_s: i64) -> String {
        store::when::local_minute(at_s, &self.department.zone)
    }

    /// A page with a body.
    ///
    /// # Errors
    /// When a template fails.
    pub fn page(&self, title: &str, body: &impl Template) -> Answer {
        self.page_of(StatusCode::OK, title, &body.render()?)
    }

    /// A form shown again with what is wrong in it.
    ///
    /// # Errors
    /// When a template fails.
    pub fn again(&self, title: &str, body: &impl Template) -> Answer {
        self.page_of(StatusCode::UNPROCESSABLE_ENTITY, title, &body.render()?)
    }

    /// A page with a status and a rendered body.
    ///
    /// # Errors
    /// When a template fails.
    pub fn page_of(&self, status: StatusCode, title: &str, body: &str) -> Answer {
        if self.background {
            return Ok(html(status, body.to_owned()));
        }
        let person = self.session.as_ref().map(|session| {
            let account = &session.account;
            (account.name.as_str(), account.role.says(), account.login.as_str())
        });
        let csrf = self.csrf();
        let shell = Shell {
            title,
            body,
            assets: FOLDER.as_str(),
            department: &self.department.name,
            person,
            navigation: self.navigation(),
            csrf: &csrf,
            ends_in_s: self.ends_in_s(),
            said: self.session.as_ref().and_then(|session| self.app.said(&session.token_sha256)),
        };
        Ok(html(status, shell.render()?))
    }

    /// The page that says why not.
    pub(crate) fn trouble(&self, trouble: &Trouble) -> Response {
        let made = TroublePage { trouble }.render().map_err(Trouble::from);
        let page = made.and_then(|body| self.page_of(trouble.status, trouble.title, &body));
        page.unwrap_or_else(|_| html(trouble.status, trouble.title.to_owned()))
    }

    /// How long the session holds if nothing is touched, s; 0 without one.
    pub fn ends_in_s(&self) -> i64 {
        self.session.as_ref().map_or(0, |session| session.ends_at - self.app.store().steady_now())
    }

    fn navigation(&self) -> Vec<(&'static str, &'static str, bool)> {
        let here = |path: &str| {
            self.path == path || (path != "/" && self.path.starts_with(&format!("{path}/")))
        };
        let seen = NAVIGATION.iter().filter(|(_, _, right)| self.may(*right));
        seen.map(|(path, word, _)| (*path, *word, here(path))).collect()
    }
}

impl<S: Sync> FromRequestParts<S> for Visit {
    type Rejection = Infallible;

    #[expect(
        clippy::expect_used,
        reason = "the guard stands before every handler; without it nothing may be answered"
    )]
    async fn from_request_parts(parts: &mut Parts, _state: &S) -> Result<Self, Infallible> {
        Ok(parts.extensions.get::<Self>().cloned().expect("the guard stands before every handler"))
    }
}
