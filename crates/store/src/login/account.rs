//! Who may log in: accounts, their passwords and the one-time links that set them.
//!
//! Whoever has a link can become its account. So one person alone makes none for an account that may read, sign,
//! govern or keep accounts: a second one says that it is right, or it is made on the server itself.

use serde_json::json;

use crate::error::Result;
use crate::error::StoreError;
use crate::login::password;
use crate::login::session::Session;
use crate::login::session::know;
use crate::record::act::Act;
use crate::record::act::Author;
use crate::record::chain::sha256;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::tables::Account;
use crate::words::Role;

/// How long a one-time link holds, s: two days, so that a link made on Friday is of no use on Monday.
const ONCE_S: i64 = 2 * 24 * 3600;

/// How far the clocks of two servers may differ, s: a link that holds longer was made under a wrong clock.
const CLOCK_SLACK_S: i64 = 120;
/// How long the owner of an account is told at each log-in that somebody made a link for it, s.
pub const TOLD_S: i64 = 14 * 24 * 3600;
/// What stands for the second person when a link was made on the server itself.
const COMMAND: &str = "command";

/// What was done to the way into an account.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LinkAct {
    /// When.
    pub at: i64,
    /// By whom, as login.
    pub who: String,
    /// The act: `account.link`, `account.change`, `account.second` or `account.password`.
    pub verb: String,
}

/// Login of the account made on the first start.
pub const FIRST: &str = "administrator";

impl Account {
    /// Whether a one-time link waits to be used, and holds.
    pub fn has_link(&self, now: i64) -> bool {
        let holds = |until: i64| now < until && until <= now + ONCE_S + CLOCK_SLACK_S;
        self.closed_at.is_none()
            && self.once_sha256.is_some()
            && self.once_until_at.is_some_and(holds)
    }

    /// Whether its one-time link still wants a second person.
    pub fn wants_second(&self) -> bool {
        needs_second(self.role) && self.once_seconded_by.is_none()
    }
}

/// Whether a role is given by two: whoever reads, signs, governs or keeps accounts.
pub fn needs_second(role: Role) -> bool {
    role != Role::Desk
}

/// Whether a role may be the second person of a link.
pub fn may_second(role: Role) -> bool {
    matches!(role, Role::Administrator | Role::Governance)
}

impl Store {
    /// Every account, open ones first, by name.
    pub async fn accounts(&self) -> Result<Vec<Account>> {
        let mut conn = self.read().await?;
        let mut all: Vec<Account> = conn.find("ORDER BY name, id", &[]).await?;
        all.sort_by_key(|account| account.closed_at.is_some());
        Ok(all)
    }

    /// Makes an account without a password, and the one-time token that sets it.
    ///
    /// # Errors
    /// When the login is taken or cannot be one, or the role is the program's own.
    pub async fn make_account(
        &self,
        by: &Author,
        login: &str,
        name: &str,
        role: Role,
    ) -> Result<(Account, String)> {
        let login = good_login(login)?;
        let name = good_name(name)?;
        let mut act = self.act(by, "account.make").await?;
        let namesake: Option<Account> =
            act.conn().first("WHERE login = $1", &[login.as_str().into()]).await?;
        if namesake.is_some() {
            return Err(StoreError::refused(
                "login_taken",
                format!("the login {login} is taken"),
                "choose another; logins of closed accounts are not given again",
            ));
        }
        let mut account = Account {
            id: 0,
            act: 0,
            login,
            name,
            role: good_role(role)?,
            password: None,
            once_sha256: None,
            once_until_at: None,
            once_by: None,
            once_seconded_by: None,
            closed_at: None,
        };
        let token = new_link(&act, &mut account)?;
        act.put(&mut account).await?;
        act.close().await?;
        Ok((account, token))
    }

    /// Makes an account with its password at once, for the demo and for tests.
    ///
    /// # Errors
    /// As [`Store::make_account`], or when the password may not be chosen.
    pub async fn make_account_with(
        &self,
        by: &Author,
        login: &str,
        name: &str,
        role: Role,
        password: &str,
    ) -> Result<Account> {
        let (_, token) = self.make_account(by, login, name, role).await?;
        self.set_password_once(&token, password, &by.station).await
    }

    /// The account whose password a one-time token sets; `None` when the token is unknown, used or over.
    pub async fn once(&self, token: &str) -> Result<Option<Account>> {
        let found: Option<Account> = self
            .read()
            .await?
            .first("WHERE once_sha256 = $1", &[sha256(token.as_bytes()).into()])
            .await?;
        Ok(found.filter(|account| account.has_link(self.now())))
    }

    /// Sets a password by a one-time token, which is then used up.
    ///
    /// # Errors
    /// As [`Store::set_password_in`].
    pub async fn set_password_once(
        &self,
        token: &str,
        new: &str,
        station: &str,
    ) -> Result<Account> {
        Ok(self.set_password_in(token, new, station, None).await?.0)
    }

    /// The same in a browser, which the account is known in from then on; gives the token it is known by.
    ///
    /// # Errors
    /// When the token is not known, used, over or waits for a second person, or the password may not be chosen.
    pub async fn set_password_in(
        &self,
        token: &str,
        new: &str,
        station: &str,
        known: Option<&str>,
    ) -> Result<(Account, String)> {
        let over = || {
            StoreError::refused(
                "once_over",
                "this one-time link was used already or is over",
                "ask an administrator for a new one",
            )
        };
        let account = self.once(token).await?.ok_or_else(over)?;
        let kept = self.hashed(&account, new).await?;
        let mut act = self.act(&author(&account, station), "account.password").await?;
        let mut account: Account = act.get(account.id).await?;
        if account.once_sha256.as_deref() != Some(&sha256(token.as_bytes())) {
            return Err(over());
        }
        if account.wants_second() {
            return Err(StoreError::refused(
                "once_waits",
                "this one-time link waits for a second person",
                "somebody of governance or another administrator says that it is right",
            ));
        }
        account.password = Some(kept);
        no_link(&mut account);
        act.note(json!({"by": "one-time link"}));
        end_sessions(&mut act, account.id, None).await?;
        // Whoever tried before tried another password.
        let sql = "DELETE FROM failed_login WHERE id = $1";
        let login = format!("login:a{}", account.id);
        on!(act.conn(), c => sqlx::query(sql).bind(login).execute(c).await.map(|_| ()))?;
        let known = know(&mut act, account.id, known, self.steady_now()).await?;
        act.put(&mut account).await?;
        act.close().await?;
        Ok((account, known))
    }

    /// Says, as the second person, that the one-time link of an account is right: who made it may, and it is for
    /// whom it says.
    ///
    /// # Errors
    /// When no link waits for it, or whoever says so made it, is the account itself, or may not.
    pub async fn second_link(&self, by: &Author, id: i64, seen: i64) -> Result<()> {
        let mut act = self.act(by, "account.second").await?;
        // What is agreed to is the link and the role that were shown, and no later ones.
        let mut account: Account = act.get_as_seen(id, seen).await?;
        if !account.has_link(act.at()) || !account.wants_second() {
            let says = "no link of this account waits for a second person";
            return Err(StoreError::refused("no_link", says, "look at the list again"));
        }
        let own = account.once_by.as_deref() == Some(&by.login) || account.login == by.login;
        if own || !may_second(by.role) {
            let says = "the second person is another than whose link it is and than who made it";
            let hint = "somebody of governance or another administrator says that it is right";
            return Err(StoreError::refused("not_second", says, hint));
        }
        account.once_seconded_by = Some(by.login.clone());
        act.note(json!({"made_by": account.once_by}));
        act.put(&mut account).await?;
        act.close().await.map(|_| ())
    }

    /// A new one-time link for the account of a login, made on the server itself: whoever may run the program
    /// there is the second channel.
    ///
    /// # Errors
    /// When no open account has the login.
    pub async fn link_on_server(&self, login: &str) -> Result<(Account, String)> {
        let login = login.trim().to_lowercase();
        let found: Option<Account> =
            self.read().await?.first("WHERE login = $1", &[login.as_str().into()]).await?;
        let account = found
            .ok_or_else(|| StoreError::Missing { what: "account of this login".to_owned() })?;
        let token = self.renew_link(&Author::program(), account.id).await?;
        Ok((account, token))
    }

    /// What was done in the last days to the ways into an account, the latest first: links made for it, seconded
    /// and used, and passwords changed.
    pub async fn link_acts(&self, account: i64, days_s: i64) -> Result<Vec<LinkAct>> {
        let sql = "SELECT at, who, verb FROM act WHERE object = $1 AND at > $2 AND verb IN ('account.link', 'account.change', 'account.second', 'account.password') ORDER BY seq DESC LIMIT 20";
        let object = format!("account {account}");
        let least = self.now() - days_s;
        let mut conn = self.read().await?;
        let found: Vec<(i64, String, String)> =
            on!(&mut conn, c => sqlx::query_as(sql).bind(object).bind(least).fetch_all(c).await)?;
        Ok(found.into_iter().map(|(at, who, verb)| LinkAct { at, who, verb }).collect())
    }

    /// Changes one's own password; every other session of the account ends.
    ///
    /// # Errors
    /// When the old one is wrong or the new one may not be chosen.
    pub async fn change_password(
        &self,
        by: &Author,
        session: &Session,
        old: &str,
        new: &str,
    ) -> Result<()> {
        let id = session.account.id;
        self.confirm_in(session, old, &by.station).await?;
        let account: Account = self.read().await?.get(id).await?;
        let kept = self.hashed(&account, new).await?;
        let mut act = self.act(by, "account.password").await?;
        let mut account: Account = act.get_as_seen(id, account.act).await?;
        account.password = Some(kept);
        end_sessions(&mut act, id, Some(&session.token_sha256)).await?;
        act.put(&mut account).await?;
        act.close().await.map(|_| ())
    }

    /// Makes a new one-time link; the password that was there stops working.
    ///
    /// # Errors
    /// When the account is closed.
    pub async fn renew_link(&self, by: &Author, id: i64) -> Result<String> {
        let mut act = self.act(by, "account.link").await?;
        let mut account: Account = act.get(id).await?;
        still_open(&account)?;
        let token = new_link(&act, &mut account)?;
        end_ways_in(&mut act, id).await?;
        act.put(&mut account).await?;
        act.close().await?;
        Ok(token)
    }

    /// Changes name and role, provided nobody else has changed the account since act `seen`. A new role ends
    /// the account's sessions; one that is given by two is taken up by a new one-time link, which is given, since
    /// else whoever knows the password of an account of the desk could make a physician of it alone.
    ///
    /// # Errors
    /// When it is closed, changed meanwhile, or the last administrator would lose the role.
    pub async fn change_account(
        &self,
        by: &Author,
        id: i64,
        seen: i64,
        name: &str,
        role: Role,
    ) -> Result<Option<String>> {
        let name = good_name(name)?;
        let mut act = self.act(by, "account.change").await?;
        let mut account: Account = act.get_as_seen(id, seen).await?;
        still_open(&account)?;
        let mut token = None;
        if account.role != role {
            not_the_last(&mut act, &account).await?;
            end_sessions(&mut act, id, None).await?;
            if needs_second(role) {
                token = Some(new_link(&act, &mut account)?);
                end_ways_in(&mut act, id).await?;
            }
        }
        act.note(json!({"role_before": account.role.text(), "name_before": account.name, "link": token.is_some()}));
        account.name = name;
        account.role = good_role(role)?;
        act.put(&mut account).await?;
        act.close().await?;
        Ok(token)
    }

    /// Closes an account for good: its sessions end, its acts keep its name.
    ///
    /// # Errors
    /// When no reason is given, it is closed already, or it is the last administrator's.
    pub async fn close_account(&self, by: &Author, id: i64, because: &str) -> Result<()> {
        if because.trim().is_empty() {
            return Err(StoreError::refused(
                "because",
                "a reason is needed",
                "say in a few words why",
            ));
        }
        let mut act = self.act(by, "account.close").await?;
        let mut account: Account = act.get(id).await?;
        still_open(&account)?;
        not_the_last(&mut act, &account).await?;
        account.closed_at = Some(act.at());
        account.password = None;
        no_link(&mut account);
        act.because(because.trim());
        end_sessions(&mut act, id, None).await?;
        act.put(&mut account).await?;
        act.close().await.map(|_| ())
    }

    /// While no administrator has a password yet: makes the first one, or a new link for it, and gives the
    /// token. `None` once somebody can log in and keep accounts.
    ///
    /// # Errors
    /// When the record cannot be written.
    pub async fn first_administrator(&self) -> Result<Option<String>> {
        let administrators: Vec<Account> = self
            .read()
            .await?
            .find("WHERE role = 'administrator' AND closed_at IS NULL ORDER BY id", &[])
            .await?;
        if administrators.iter().any(|account| account.password.is_some()) {
            return Ok(None);
        }
        let program = Author::program();
        match administrators.first() {
            Some(account) => self.renew_link(&program, account.id).await.map(Some),
            None => self
                .make_account(&program, FIRST, "Administrator", Role::Administrator)
                .await
                .map(|(_, token)| Some(token)),
        }
    }

    /// The hash of a password that may be chosen for an account.
    async fn hashed(&self, account: &Account, new: &str) -> Result<String> {
        let desk = self.read().await?.desk_settings().await?;
        let words = [&account.login, &account.name, &desk.hospital, &desk.department, "matins"];
        password::choose(new, &words)?;
        password::hash(new.to_owned()).await
    }
}

/// The author an account is, at a station.
pub fn author(account: &Account, station: &str) -> Author {
    Author {
        login: account.login.clone(),
        name: account.name.clone(),
        role: account.role,
        station: station.to_owned(),
    }
}

/// Ends the sessions of an account inside an act, but the one whose token hashes to `keep`.
async fn end_sessions(act: &mut Act, account: i64, keep: Option<&str>) -> Result<()> {
    let keep = keep.unwrap_or_default().to_owned();
    let sql = "DELETE FROM session WHERE account = $1 AND token_sha256 <> $2";
    on!(act.conn(), c => sqlx::query(sql).bind(account).bind(keep).execute(c).await.map(|_| ()))?;
    Ok(())
}

/// The same, and no browser is known to the account any more.
async fn end_ways_in(act: &mut Act, account: i64) -> Result<()> {
    end_sessions(act, account, None).await?;
    let sql = "DELETE FROM device WHERE account = $1";
    on!(act.conn(), c => sqlx::query(sql).bind(account).execute(c).await.map(|_| ()))?;
    Ok(())
}

/// A new link in place of the password that was there.
fn new_link(act: &Act, account: &mut Account) -> Result<String> {
    let token = engine::hex(&password::random::<32>()?);
    account.password = None;
    account.once_sha256 = Some(sha256(token.as_bytes()));
    account.once_until_at = Some(act.at() + ONCE_S);
    account.once_by = Some(act.author().login.clone());
    let on_server = act.author().role == Role::Program;
    account.once_seconded_by = on_server.then(|| COMMAND.to_owned());
    Ok(token)
}

fn no_link(account: &mut Account) {
    account.once_sha256 = None;
    account.once_until_at = None;
    account.once_by = None;
    account.once_seconded_by = None;
}

fn good_login(login: &str) -> Result<String> {
    let login = login.trim().to_lowercase();
    let fits =
        |sign: char| sign.is_ascii_lowercase() || sign.is_ascii_digit() || ".-_@".contains(sign);
    if (2..=64).contains(&login.len()) && login.chars().all(fits) && login != "matins" {
        return Ok(login);
    }
    Err(StoreError::refused(
        "login",
        "the login cannot be used",
        "2 to 64 letters a to z, digits, or one of . - _ @; not `matins`, which is the program's own",
    ))
}

fn good_name(name: &str) -> Result<String> {
    let name = name.split_whitespace().collect::<Vec<_>>().join(" ");
    if (2..=80).contains(&name.chars().count()) && !name.contains(char::is_control) {
        return Ok(name);
    }
    Err(StoreError::refused(
        "name",
        "the name cannot be used",
        "write it in 2 to 80 characters, as it should stand on reports",
    ))
}

fn good_role(role: Role) -> Result<Role> {
    if role == Role::Program {
        return Err(StoreError::refused(
            "role",
            "the program's own role is given to nobody",
            "choose another",
        ));
    }
    Ok(role)
}

fn still_open(account: &Account) -> Result<()> {
    if account.closed_at.is_some() {
        return Err(StoreError::refused(
            "closed",
            format!("the account {} is closed", account.login),
            "make a new one",
        ));
    }
    Ok(())
}

async fn not_the_last(act: &mut Act, account: &Account) -> Result<()> {
    if account.role != Role::Administrator {
        return Ok(());
    }
    let others = act
        .conn()
        .number(
            "SELECT COUNT(*) FROM account WHERE role = 'administrator' AND closed_at IS NULL AND password IS NOT NULL AND id <> $1",
            &[account.id.into()],
        )
        .await?;
    if others > 0 {
        return Ok(());
    }
    Err(StoreError::refused(
        "last_administrator",
        "this is the last administrator who can log in",
        "give somebody else the role first",
    ))
}

/// The name behind a login; the login itself when nobody has it.
pub(crate) async fn name_of(conn: &mut Conn, login: &str) -> Result<String> {
    let account: Option<Account> = conn.first("WHERE login = $1", &[login.into()]).await?;
    Ok(account.map_or_else(|| login.to_owned(), |account| account.name))
}
