//! Whose night it is, settled by hand: one person where nothing contradicts, two where something does; untied,
//! set aside, and replaced by the night of a better file.

use engine::recording::Recording;

use crate::error::Result;
use crate::error::StoreError;
use crate::intake::owner::Evidence;
use crate::intake::owner::Weighed;
use crate::intake::owner::overlaps;
use crate::intake::receive::identity_of;
use crate::intake::receive::span_of;
use crate::intake::scoring::not_signed;
use crate::intake::tie::Ground;
use crate::lending::desk::Scanned;
use crate::login::account::name_of;
use crate::people::person::reason_given;
use crate::people::person::still_valid;
use crate::record::act::Act;
use crate::record::act::Author;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::row::Kept;
use crate::record::row::Record as _;
use crate::record::tables::Account;
use crate::record::tables::Loan;
use crate::record::tables::Monitor;
use crate::record::tables::Night;
use crate::record::tables::Original;
use crate::record::tables::Person;
use crate::record::tables::Report;
use crate::record::tables::SecondReading;
use crate::record::tables::Tie;
use crate::words::NightStatus;
use crate::words::Role;
use crate::words::TieStatus;

/// Loans that went out or were due so near a night may be its own, s (common practice, no source).
const NEAR_S: i64 = 31 * 86_400;

/// A loan that could own a night, with what speaks for and against it.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// The loan.
    pub loan: Loan,
    /// Who had it.
    pub person: Person,
    /// Its monitor.
    pub monitor: Monitor,
    /// What speaks for it and against it.
    pub weighed: Weighed,
    /// Nights of it that lie at the same time.
    pub doubles: Vec<Night>,
}

/// Every loan that could own a night, the likeliest first, and what its file says of a person.
#[derive(Clone, Debug)]
pub struct Candidates {
    /// The loans.
    pub loans: Vec<Candidate>,
    /// Those of them that were found by a number somebody typed, by row.
    pub sought: Vec<i64>,
    /// What the file says of its person: read anew, shown, not kept.
    pub says: Vec<String>,
}

impl Store {
    /// What a night's file tells, read from its bytes once more.
    async fn evidence(&self, night: &Night) -> Result<Evidence> {
        let mut conn = self.read().await?;
        let original: Original = conn.get(night.original).await?;
        let held = conn.bytes_of(night).await?;
        drop(conn);
        let (piece, name) = (held.piece(), original.name);
        let run = tokio::task::spawn_blocking(move || -> Result<Evidence> {
            let recording: Recording = held.whole()?;
            Ok(Evidence {
                span: span_of(&recording, piece),
                identity: identity_of(held.bytes(), &name, &recording),
                name,
                header: recording.monitor.clone(),
            })
        });
        run.await.map_err(|error| StoreError::Damaged { says: error.to_string() })?
    }

    /// Every loan that could own a night, with what speaks for and against each: those it lies in by time, and
    /// those of a monitor that its file names. A file that tells neither date nor monitor leaves those of the last
    /// weeks that have no night. `find` adds the loans behind a number that somebody typed: of a loan, a monitor
    /// or a person.
    ///
    /// # Errors
    /// When the bytes are gone or the database breaks off.
    pub async fn candidates(&self, night: &Night, find: &str) -> Result<Candidates> {
        let evidence = self.evidence(night).await?;
        let mut conn = self.read().await?;
        let ground = conn.ground(self.now()).await?;
        let named: Vec<i64> =
            evidence.monitors(&ground.monitors).iter().map(|one| one.id).collect();
        let mut wanted = conn.could_own(night, &evidence, &named, &ground).await?;
        let found = conn.loans_behind(find).await?;
        let sought = found.iter().map(|loan| loan.id).collect();
        wanted.extend(found);
        let mut loans: Vec<Candidate> = Vec::new();
        for loan in wanted {
            if loans.iter().all(|one| one.loan.id != loan.id) {
                loans.push(conn.candidate(night, &evidence, loan, &ground).await?);
            }
        }
        loans.sort_by_key(|one| {
            (
                one.weighed.against.len(),
                one.weighed.open.len(),
                -one.weighed.overlap_s,
                -one.loan.id,
            )
        });
        Ok(Candidates { loans, sought, says: evidence.identity.says() })
    }

    /// Says whose night it is, by name and with a reason. Where nothing contradicts, the night is tied; where
    /// something does, the tie is proposed and waits for a second person.
    ///
    /// # Errors
    /// When somebody without the right tries, the night is tied, signed, replaced or proposed already, the loan
    /// never went out, or no reason is given.
    pub async fn settle_night(
        &self,
        by: &Author,
        id: i64,
        loan: i64,
        reason: &str,
    ) -> Result<Night> {
        self.settle(by, id, loan, None, reason).await
    }

    /// Puts a night in the place of one that is tied, unsigned and of the same time: its file is the better one.
    /// Both files stay whole; the old night points to what took its place.
    ///
    /// # Errors
    /// As [`Store::settle_night`], and when the old night is signed, has a report that stands, or is none of the
    /// same time.
    pub async fn replace_night(
        &self,
        by: &Author,
        id: i64,
        old: i64,
        reason: &str,
    ) -> Result<Night> {
        let tied: Night = self.read().await?.get(old).await?;
        let Some(loan) = tied.loan.filter(|_| old != id) else {
            let says = "the night it is to take the place of is tied to nobody";
            return Err(StoreError::refused("night_untied", says, "settle whose this night is"));
        };
        self.settle(by, id, loan, Some(old), reason).await
    }

    async fn settle(
        &self,
        by: &Author,
        id: i64,
        loan: i64,
        replaces: Option<i64>,
        reason: &str,
    ) -> Result<Night> {
        may_settle(by)?;
        let reason = reason_given(reason)?;
        let mut conn = self.read().await?;
        let night: Night = conn.get(id).await?;
        conn.may_tie(&night).await?;
        drop(conn);
        let evidence = self.evidence(&night).await?;
        let verb = if replaces.is_some() { "night.replace" } else { "night.settle" };
        let mut act = self.act(by, verb).await?;
        let mut night: Night = act.get(id).await?;
        act.conn().may_tie(&night).await?;
        let loan: Loan = act.get(loan).await?;
        went_out(&loan)?;
        still_valid(&act.get::<Person>(loan.person).await?)?;
        let weighed = act.held_against((&night, &evidence), &loan, replaces).await?;
        let mut tie = Tie {
            id: 0,
            act: 0,
            night: id,
            loan: loan.id,
            status: TieStatus::Proposed,
            replaces,
            proposed_by: by.login.clone(),
            proposed_at: act.at(),
            because: reason.clone(),
            against: Kept(weighed.against.clone()),
            open: Kept(weighed.open.clone()),
            second_by: None,
            second_at: None,
            second_because: None,
            ended_by: None,
            ended_at: None,
            ended_because: None,
        };
        if weighed.against.is_empty() {
            act.tie_by_hand(&mut night, &loan, &mut tie, &weighed).await?;
        } else {
            act.put(&mut tie).await?;
            act.put(&mut night).await?;
        }
        act.because(reason);
        act.on(Night::name(id), Some(loan.person));
        act.close().await?;
        self.scored_after(by, id).await
    }

    /// A second person agrees to a tie that was proposed against a doubt, and the night is tied.
    ///
    /// # Errors
    /// When it is the same person, somebody without the right, there is no such proposal, more speaks against it
    /// than was proposed, or no reason is given.
    pub async fn confirm_tie(&self, by: &Author, id: i64, reason: &str) -> Result<Night> {
        may_settle(by)?;
        let reason = reason_given(reason)?;
        let mut conn = self.read().await?;
        let tie = conn.proposed(id).await?;
        let night: Night = conn.get(tie.night).await?;
        drop(conn);
        let evidence = self.evidence(&night).await?;
        let mut act = self.act(by, "night.confirm").await?;
        let mut tie = act.conn().proposed(id).await?;
        act.not_the_same(&tie).await?;
        let mut night: Night = act.get(tie.night).await?;
        let loan: Loan = act.get(tie.loan).await?;
        went_out(&loan)?;
        still_valid(&act.get::<Person>(loan.person).await?)?;
        let weighed = act.held_against((&night, &evidence), &loan, tie.replaces).await?;
        if let Some(more) = weighed.against.iter().find(|one| !tie.against.0.contains(one)) {
            let says = format!("more speaks against it than was proposed: {more}");
            return Err(StoreError::refused(
                "more_against",
                says,
                "decline it, and propose it anew",
            ));
        }
        (tie.second_by, tie.second_at) = (Some(by.login.clone()), Some(act.at()));
        tie.second_because = Some(reason.clone());
        act.tie_by_hand(&mut night, &loan, &mut tie, &weighed).await?;
        act.because(reason);
        act.on(Night::name(night.id), Some(loan.person));
        act.close().await?;
        self.scored_after(by, night.id).await
    }

    /// A tie that was proposed is declined, or taken back by who proposed it. The night stays untied.
    ///
    /// # Errors
    /// When somebody without the right tries, there is no such proposal, or no reason is given.
    pub async fn decline_tie(&self, by: &Author, id: i64, reason: &str) -> Result<Night> {
        may_settle(by)?;
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "night.decline").await?;
        let mut tie = act.conn().proposed(id).await?;
        let mut night: Night = act.get(tie.night).await?;
        (tie.second_by, tie.second_at) = (Some(by.login.clone()), Some(act.at()));
        (tie.second_because, tie.status) = (Some(reason.clone()), TieStatus::Declined);
        act.put(&mut tie).await?;
        act.put(&mut night).await?;
        act.because(reason);
        act.on(Night::name(night.id), None);
        act.close().await?;
        Ok(night)
    }

    /// Takes a night away from a loan it was wrongly tied to. It cannot be read until it is settled again. What
    /// was signed or read of it twice stays with its patient, and another night stands for that piece of the file.
    /// A night whose place it had taken waits to be settled again.
    ///
    /// # Errors
    /// When somebody without the right tries, the night is not tied or its report stands, or no reason is given.
    pub async fn untie_night(&self, by: &Author, id: i64, reason: &str) -> Result<Night> {
        may_settle(by)?;
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "night.untie").await?;
        let night: Night = act.get(id).await?;
        act.no_report_stands(&night).await?;
        if night.loan.is_none() || night.status == NightStatus::SetAside {
            return Err(StoreError::refused("night_untied", "this night is tied to nobody", ""));
        }
        let says = format!("it was untied by {}: {reason}", by.name);
        act.let_go(night, NightStatus::Untied, (says, reason)).await
    }

    /// Sets a night aside: it is none of this department's patients', or a double. It stays in the record.
    ///
    /// # Errors
    /// As [`Store::untie_night`].
    pub async fn set_night_aside(&self, by: &Author, id: i64, reason: &str) -> Result<Night> {
        may_settle(by)?;
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "night.set_aside").await?;
        let night: Night = act.get(id).await?;
        act.no_report_stands(&night).await?;
        if night.status == NightStatus::SetAside {
            return Err(StoreError::refused("night_set_aside", "this night is set aside", ""));
        }
        let says = format!("it was set aside by {}: {reason}", by.name);
        act.let_go(night, NightStatus::SetAside, (says, reason)).await
    }

    /// The night as it is after it may have been tied, scored when it was. One that cannot be scored stays tied:
    /// the list of nights says first what is wrong with it.
    async fn scored_after(&self, by: &Author, id: i64) -> Result<Night> {
        let night: Night = self.read().await?.get(id).await?;
        if night.status != NightStatus::Waiting {
            return Ok(night);
        }
        match self.score_night(by, id).await {
            Ok(_) | Err(StoreError::Refused(_)) => self.read().await?.get(id).await,
            Err(error) => Err(error),
        }
    }
}

impl Conn {
    /// The loans that could own a night, as far as their times and the file's monitors tell.
    async fn could_own(
        &mut self,
        night: &Night,
        evidence: &Evidence,
        named: &[i64],
        ground: &Ground,
    ) -> Result<Vec<Loan>> {
        let clause = "WHERE out_at IS NOT NULL ORDER BY out_at DESC, id DESC";
        let all: Vec<Loan> = self.find(clause, &[]).await?;
        let desk = ground.desk();
        let at = evidence.span.map_or(night.start_at, |span| span.start_at);
        let near = |loan: &Loan| {
            let (from, to) =
                (loan.out_at.unwrap_or(0) - NEAR_S, loan.back_at.unwrap_or(loan.due_at) + NEAR_S);
            (from..=to).contains(&at) || (from..=to).contains(&night.start_at)
        };
        let mut latest: Vec<i64> = Vec::new();
        let mut could = |loan: &Loan| {
            let is_latest = !latest.contains(&loan.monitor);
            latest.push(loan.monitor);
            let by_time = match evidence.span {
                Some(span) => overlaps(span, loan, &desk),
                None => named.is_empty() && near(loan) && !desk.with_night.contains(&loan.id),
            };
            by_time || (named.contains(&loan.monitor) && (is_latest || near(loan)))
        };
        Ok(all.into_iter().filter(|loan| could(loan)).collect())
    }

    /// The loans behind a number: of a loan, or the latest of a monitor or of a person.
    async fn loans_behind(&mut self, number: &str) -> Result<Vec<Loan>> {
        let (clause, id) = match self.scanned(number).await? {
            Scanned::Loan(id) => ("WHERE id = $1 AND out_at IS NOT NULL", id),
            Scanned::Monitor(id) => (
                "WHERE monitor = $1 AND out_at IS NOT NULL ORDER BY out_at DESC, id DESC LIMIT 12",
                id,
            ),
            Scanned::Person(id) => (
                "WHERE person = $1 AND out_at IS NOT NULL ORDER BY out_at DESC, id DESC LIMIT 12",
                id,
            ),
            Scanned::Misread | Scanned::Nothing => return Ok(Vec::new()),
        };
        self.find(clause, &[id.into()]).await
    }

    async fn candidate(
        &mut self,
        night: &Night,
        evidence: &Evidence,
        loan: Loan,
        ground: &Ground,
    ) -> Result<Candidate> {
        let mut weighed = self.weighed(evidence, &loan, None, ground).await?;
        weighed.against.extend(self.untied_before(night, &loan).await?);
        let doubles = match weighed.span {
            Some(span) => self.nights_at(loan.id, span).await?,
            None => Vec::new(),
        };
        Ok(Candidate {
            person: self.get(loan.person).await?,
            monitor: self.get(loan.monitor).await?,
            weighed,
            doubles,
            loan,
        })
    }

    /// What is said of a night that somebody took away from the borrower of a loan: who gives it back does not do so
    /// alone. It may stand as another row since.
    async fn untied_before(&mut self, night: &Night, loan: &Loan) -> Result<Option<String>> {
        let acts = "SELECT COUNT(*) FROM act WHERE person = $1 \
             AND verb IN ('night.untie', 'night.set_aside') AND object IN \
             (SELECT 'night ' || one.id FROM night AS one JOIN night AS own \
             ON own.original = one.original AND own.from_s = one.from_s AND own.to_s = one.to_s \
             WHERE own.id = $2)";
        let times = self.number(acts, &[loan.person.into(), night.id.into()]).await?;
        let says = "this night was taken away from this patient before, as not theirs";
        Ok((times > 0).then(|| says.to_owned()))
    }

    async fn may_tie(&mut self, night: &Night) -> Result<()> {
        if !matches!(night.status, NightStatus::Untied | NightStatus::SetAside) {
            let says = "this night is tied to a loan already";
            return Err(StoreError::refused("night_tied", says, "untie it first, with a reason"));
        }
        if let Some(now) = night.replaced_by {
            let says = format!("night {now} stands in the place of this one");
            return Err(StoreError::refused("night_replaced", says, "settle that one"));
        }
        match self.proposal(night.id).await? {
            Some(_) => Err(StoreError::refused(
                "tie_proposed",
                "whose night this is has been proposed and waits for a second person",
                "agree to it or decline it first",
            )),
            None => Ok(()),
        }
    }

    /// The tie of a night that waits for a second person.
    pub async fn proposal(&mut self, night: i64) -> Result<Option<Tie>> {
        self.first("WHERE night = $1 AND status = 'proposed'", &[night.into()]).await
    }

    /// How a night was tied by hand; `None` when it found its loan by itself or is untied.
    pub async fn tied_by_hand(&mut self, night: &Night) -> Result<Option<Tie>> {
        let clause = "WHERE night = $1 AND loan = $2 AND status = 'tied' ORDER BY id DESC LIMIT 1";
        match night.loan {
            Some(loan) => self.first(clause, &[night.id.into(), loan.into()]).await,
            None => Ok(None),
        }
    }

    async fn proposed(&mut self, id: i64) -> Result<Tie> {
        let tie: Tie = self.get(id).await?;
        if tie.status == TieStatus::Proposed {
            return Ok(tie);
        }
        let says = "this tie does not wait for a second person any more";
        Err(StoreError::refused("not_proposed", says, "look at the night again"))
    }

    /// How a night was tied by hand, in words: by whom, why, against what, and who agreed.
    pub async fn hand_tie_says(&mut self, tie: &Tie) -> Result<String> {
        let accounts: Vec<Account> = self.find("ORDER BY id", &[]).await?;
        let name = |login: &str| {
            let account = accounts.iter().find(|one| one.login == login);
            account.map_or_else(|| login.to_owned(), |account| account.name.clone())
        };
        Ok(hand_tie(tie, name))
    }
}

/// How a night was tied by hand, in words, given the name behind a login.
pub(crate) fn hand_tie(tie: &Tie, name: impl Fn(&str) -> String) -> String {
    let mut says = format!("tied by hand by {}", name(&tie.proposed_by));
    if let Some(second) = &tie.second_by {
        says = format!("{says}, agreed by {}", name(second));
    }
    says = format!("{says}: {}", tie.because);
    if let Some(because) = tie.second_because.as_ref().filter(|one| **one != tie.because) {
        says = format!("{says}; {because}");
    }
    let doubts: Vec<&str> = tie.against.0.iter().chain(&tie.open.0).map(String::as_str).collect();
    let doubts =
        if doubts.is_empty() { "nothing that was seen".to_owned() } else { doubts.join("; ") };
    format!("{says}. Against it: {doubts}")
}

impl Act {
    async fn held_against(
        &mut self,
        (night, evidence): (&Night, &Evidence),
        loan: &Loan,
        replaces: Option<i64>,
    ) -> Result<Weighed> {
        let now = self.at();
        let ground = self.conn().ground(now).await?;
        let mut weighed = self.conn().weighed(evidence, loan, replaces, &ground).await?;
        weighed.against.extend(self.conn().untied_before(night, loan).await?);
        let Some(old) = replaces else { return Ok(weighed) };
        let old: Night = self.get(old).await?;
        self.no_report_stands(&old).await?;
        let open = matches!(old.status, NightStatus::Waiting | NightStatus::Reading);
        let overlaps = weighed
            .span
            .is_some_and(|span| span.start_at < old.end_at && old.start_at < span.end_at);
        if !open || old.loan != Some(loan.id) || !overlaps {
            let says = format!(
                "night {} is not a night of the same loan and time that can be replaced",
                old.id
            );
            return Err(StoreError::refused("not_replaceable", says, "look at both nights again"));
        }
        Ok(weighed)
    }

    /// Ties a night that somebody settled, and puts it in the place of the one it replaces.
    async fn tie_by_hand(
        &mut self,
        night: &mut Night,
        loan: &Loan,
        tie: &mut Tie,
        weighed: &Weighed,
    ) -> Result<()> {
        tie.status = TieStatus::Tied;
        self.put(tie).await?;
        night.settled_by = Some(tie.proposed_by.clone());
        night.settled_because = Some(tie.because.clone());
        night.doubts = Kept(weighed.doubts());
        if let Some(span) = weighed.span {
            (night.start_at, night.end_at) = (span.start_at, span.end_at);
        }
        if let Some(old) = tie.replaces {
            let mut old: Night = self.get(old).await?;
            self.end_tie(&old, &tie.because).await?;
            self.end_second_readings(old.id, &tie.because).await?;
            old.status = NightStatus::SetAside;
            old.replaced_by = Some(night.id);
            old.settled_by = Some(tie.proposed_by.clone());
            old.settled_because = Some(tie.because.clone());
            self.put(&mut old).await?;
        }
        self.tie(night, loan).await?;
        self.put(night).await
    }

    async fn not_the_same(&mut self, tie: &Tie) -> Result<()> {
        let first = name_of(self.conn(), &tie.proposed_by).await?;
        let by = self.author().clone();
        if by.login != tie.proposed_by
            && by.name.trim().to_lowercase() != first.trim().to_lowercase()
        {
            return Ok(());
        }
        let says = "who proposes a tie against a doubt does not agree to it as well";
        Err(StoreError::refused("same_person", says, "ask a second person who may settle nights"))
    }

    /// A night whose report stands is neither untied nor replaced: the report would be another's.
    async fn no_report_stands(&mut self, night: &Night) -> Result<()> {
        not_signed(night)?;
        let last = self.conn().reports(night.id).await?.into_iter().next();
        match last.filter(|report| report.withdrawn_at.is_none()) {
            Some(report) => Err(StoreError::refused(
                "night_signed",
                format!("version {} of the report of this night stands", report.version),
                "withdraw the report first",
            )),
            None => Ok(()),
        }
    }

    async fn end_tie(&mut self, night: &Night, reason: &str) -> Result<()> {
        let Some(mut tie) = self.conn().tied_by_hand(night).await? else { return Ok(()) };
        tie.status = TieStatus::Undone;
        (tie.ended_by, tie.ended_at) = (Some(self.author().login.clone()), Some(self.at()));
        tie.ended_because = Some(reason.to_owned());
        self.put(&mut tie).await
    }

    /// Second readings under way end with the tie they were made under.
    async fn end_second_readings(&mut self, night: i64, reason: &str) -> Result<()> {
        let clause =
            "WHERE night = $1 AND finished_at IS NULL AND withdrawn_at IS NULL ORDER BY id";
        let open: Vec<SecondReading> = self.conn().find(clause, &[night.into()]).await?;
        for mut one in open {
            (one.withdrawn_at, one.withdrawn_because) = (Some(self.at()), Some(reason.to_owned()));
            self.put(&mut one).await?;
        }
        Ok(())
    }

    /// Takes a night off its loan and ends the act. A night whose place it had taken is free again.
    async fn let_go(
        mut self,
        night: Night,
        status: NightStatus,
        (says, reason): (String, String),
    ) -> Result<Night> {
        let (id, was) = (night.id, night.person);
        self.end_tie(&night, &reason).await?;
        if let Some(mut tie) = self.conn().proposal(id).await? {
            tie.status = TieStatus::Declined;
            (tie.second_by, tie.second_at) = (Some(self.author().login.clone()), Some(self.at()));
            tie.second_because = Some(reason.clone());
            self.put(&mut tie).await?;
        }
        self.unread(&night).await?;
        self.free_replaced(&night, &says, &reason).await?;
        let free = self.free(night, status, says, &reason).await?;
        self.because(reason);
        self.on(Night::name(id), was);
        self.close().await?;
        Ok(free)
    }

    /// A night that was replaced waits to be settled again when what took its place is let go: else no night of
    /// that time could be read at all.
    async fn free_replaced(&mut self, gone: &Night, says: &str, reason: &str) -> Result<()> {
        let clause = "WHERE replaced_by = $1 AND status = 'set_aside' ORDER BY id";
        let all: Vec<Night> = self.conn().find(clause, &[gone.id.into()]).await?;
        let destroyed = self.conn().destroyed_nights().await?;
        for old in all {
            // One of the same piece of the same file was not replaced: it keeps what was signed of it.
            let piece = |night: &Night| (night.original, night.from_s, night.to_s);
            if piece(&old) == piece(gone) || destroyed.contains(&old.id) {
                continue;
            }
            let says = format!("night {} stood in its place until {says}", gone.id);
            self.free(old, NightStatus::Untied, says, reason).await?;
        }
        Ok(())
    }

    /// Keeps a night as nobody's. What was signed, or read a second time, stays with its patient on the night as
    /// it was; another row then stands for the piece of the file.
    async fn free(
        &mut self,
        mut night: Night,
        status: NightStatus,
        says: String,
        reason: &str,
    ) -> Result<Night> {
        let mut free = Night {
            status,
            loan: None,
            person: None,
            study: None,
            notes: String::new(),
            result: None,
            replaced_by: None,
            ..night.clone()
        };
        free.doubts.0.push(says);
        let settled = (Some(self.author().login.clone()), Some(reason.to_owned()));
        (free.settled_by, free.settled_because) = match status {
            NightStatus::SetAside => settled.clone(),
            _ => (None, None),
        };
        if night.loan.is_some() && self.hangs_on(night.id).await? {
            self.end_second_readings(night.id, reason).await?;
            night.status = NightStatus::SetAside;
            (night.settled_by, night.settled_because) = settled;
            self.put(&mut night).await?;
            free.id = 0;
            self.put(&mut free).await?;
            night.replaced_by = Some(free.id);
            self.put(&mut night).await?;
        } else {
            self.put(&mut free).await?;
        }
        Ok(free)
    }

    /// Whether a report or a second reading was made of a night.
    async fn hangs_on(&mut self, night: i64) -> Result<bool> {
        let reports: Vec<Report> = self.conn().find("WHERE night = $1", &[night.into()]).await?;
        let second: Vec<SecondReading> =
            self.conn().find("WHERE night = $1", &[night.into()]).await?;
        Ok(!reports.is_empty() || !second.is_empty())
    }
}

fn went_out(loan: &Loan) -> Result<()> {
    if loan.out_at.is_some() {
        return Ok(());
    }
    Err(StoreError::refused(
        "loan_not_out",
        format!("the monitor of loan {} never went out", loan.mark),
        "choose the loan the night was recorded in",
    ))
}

fn may_settle(by: &Author) -> Result<()> {
    match by.role {
        Role::Physiologist | Role::Administrator => Ok(()),
        _ => Err(StoreError::refused(
            "not_yours_to_settle",
            "whose night it is is settled by a physiologist or an administrator",
            "ask one of them",
        )),
    }
}
