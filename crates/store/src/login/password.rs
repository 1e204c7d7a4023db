//! Passwords: which are good enough, and how one is kept.
//!
//! The rules are those of OWASP ASVS 5.0 section 6.2: long, any characters, no rule of composition, nothing that
//! stands on a list of common ones. Kept is Argon2id (RFC 9106) with the least parameters that the OWASP
//! Password Storage cheat sheet allows, as PHC text.

use argon2::Algorithm;
use argon2::Argon2;
use argon2::Params;
use argon2::PasswordHash;
use argon2::PasswordHasher as _;
use argon2::PasswordVerifier as _;
use argon2::Version;
use rand::TryRng as _;
use rand::rngs::SysRng;
use tokio::sync::Semaphore;

use crate::error::Result;
use crate::error::StoreError;

mod plain;

/// Least length, characters.
pub const SHORTEST: usize = 12;
/// Greatest length, characters. Nothing is cut off: a longer one is refused.
pub const LONGEST: usize = 128;

/// Memory of one hash, KiB.
const MEMORY_KIB: u32 = 19_456;
/// Passes over it.
const PASSES: u32 = 2;
/// Lanes.
const LANES: u32 = 1;
/// Length of the salt, bytes.
const SALT: usize = 16;

/// Hashes a hostile crowd could ask for at once would fill the memory.
static AT_ONCE: Semaphore = Semaphore::const_new(2);

/// A hash nobody has the password of: an unknown login takes as long as a known one.
const NOBODY: &str = "$argon2id$v=19$m=19456,t=2,p=1$bm9ib2R5bm9ib2R5bm9ibw$2A0y1ROmOYLNnKZzXBC3Y1qXlYxZ0DqV9F8J1VYzX3k";

/// Whether a password may be chosen. `words` are those an outsider would try first: login, name, department.
///
/// # Errors
/// What is wrong with it, as a refusal for the page.
pub fn choose(password: &str, words: &[&str]) -> Result<()> {
    let refused = |says: &str, hint: &str| Err(StoreError::refused("password", says, hint));
    let length = password.chars().count();
    if length < SHORTEST {
        return refused(
            "the password is shorter than 12 characters",
            "three or four words that have nothing to do with each other are easy to keep",
        );
    }
    if length > LONGEST {
        return refused("the password is longer than 128 characters", "choose a shorter one");
    }
    let lower = password.to_lowercase();
    if plain::is_plain(&lower) {
        return refused(
            "the password is one of the common ones that are tried first, or a row or a repetition",
            "choose words that do not stand on any list",
        );
    }
    let named = words.iter().flat_map(|word| word.split_whitespace()).map(str::to_lowercase);
    if named.filter(|word| word.chars().count() >= 4).any(|word| lower.contains(&word)) {
        return refused(
            "the password contains your login, your name or the department's name",
            "leave them out: they are tried first",
        );
    }
    Ok(())
}

/// Hashes a password off the threads that answer requests.
///
/// # Errors
/// When the operating system gives no random numbers.
pub(crate) async fn hash(password: String) -> Result<String> {
    let salt = random::<SALT>()?;
    blocking(move || {
        let made = hasher()?.hash_password_with_salt(password.as_bytes(), &salt);
        made.map(|hash| hash.to_string()).map_err(broken)
    })
    .await
}

/// Whether a password is the one that was hashed; without a hash it is not, and takes as long.
pub(crate) async fn is_right(password: String, kept: Option<String>) -> Result<bool> {
    if password.chars().count() > LONGEST {
        // Hashing a megabyte is an attack on the machine, not a password.
        return Ok(false);
    }
    blocking(move || {
        let known = kept.is_some();
        let kept = kept.unwrap_or_else(|| NOBODY.to_owned());
        let kept = PasswordHash::new(&kept).map_err(broken)?;
        Ok(hasher()?.verify_password(password.as_bytes(), &kept).is_ok() && known)
    })
    .await
}

/// Whether a hash was made with lesser parameters than today's.
pub(crate) fn is_outdated(kept: &str) -> bool {
    let Ok(kept) = PasswordHash::new(kept) else { return true };
    let Ok(params) = Params::try_from(&kept) else { return true };
    kept.algorithm.as_str() != "argon2id"
        || params.m_cost() < MEMORY_KIB
        || params.t_cost() < PASSES
        || params.p_cost() < LANES
}

/// Random bytes of the operating system.
pub(crate) fn random<const N: usize>() -> Result<[u8; N]> {
    let mut bytes = [0; N];
    SysRng.try_fill_bytes(&mut bytes).map_err(broken)?;
    Ok(bytes)
}

fn hasher() -> Result<Argon2<'static>> {
    let params = Params::new(MEMORY_KIB, PASSES, LANES, None).map_err(broken)?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T> + Send + 'static,
) -> Result<T> {
    let _turn = AT_ONCE.acquire().await.map_err(broken)?;
    tokio::task::spawn_blocking(work).await.map_err(broken)?
}

fn broken(error: impl std::fmt::Display) -> StoreError {
    StoreError::Unusable {
        what: "passwords".to_owned(),
        says: format!("cannot be worked with: {error}"),
        hint: String::new(),
    }
}

#[cfg(test)]
mod tests {
    use argon2::AssociatedData;
    use argon2::ParamsBuilder;

    use super::*;

    /// RFC 9106, 5.3: the Argon2id test vector; also given by the general library libargon2.
    #[test]
    fn argon2id_is_that_of_rfc_9106() {
        let params = ParamsBuilder::new()
            .m_cost(32)
            .t_cost(3)
            .p_cost(4)
            .output_len(32)
            .data(AssociatedData::new(&[4; 12]).unwrap())
            .build()
            .unwrap();
        let hasher =
            Argon2::new_with_secret(&[3; 8], Algorithm::Argon2id, Version::V0x13, params).unwrap();
        let mut tag = [0; 32];
        hasher.hash_password_into(&[1; 32], &[2; 16], &mut tag).unwrap();
        assert_eq!(
            engine::hex(&tag),
            "0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659"
        );
    }

    #[test]
    fn a_long_password_of_any_signs_is_taken_and_a_common_one_is_not() {
        for good in [
            "correct horse battery",
            "  blanks are kept  ",
            "ünïcödé \u{1F319} nächtlich",
            "a long sentence that nobody has ever printed, with 12 commas in it, and a bedstead, and a lantern, and a goose at the end",
        ] {
            assert!(choose(good, &["pillow"]).is_ok(), "{good}");
        }
        for bad in [
            "short",
            "elevenchars",
            "passwordpassword",
            "Password1234!",
            "qwertyuiop123",
            "aaaaaaaaaaaaaaa",
            "123123123123",
            "letmein letmein",
            "my-Pillow-is-soft",
            "P@ssw0rd!P@ssw0rd!",
            "correcthorsebatterystaple",
            "abcdefghijklmn",
            "0123456789012",
            "passw0rd passw0rd",
            "            ",
            "qwertzuiopasdf",
            "1q2w3e4r5t6y7u8i",
            "lmnopqrstuvw!",
            "9876543210 98765",
            "P4ssw0rd2026!!!!",
            "W1nter2026Winter2026",
            "$unsh1ne$unsh1ne",
            &"x y z w v".repeat(20),
        ] {
            assert!(choose(bad, &["pillow"]).unwrap_err().is("password"), "{bad}");
        }
    }

    /// OWASP Password Storage cheat sheet: m=19456 (19 MiB), t=2, p=1.
    #[tokio::test]
    async fn a_password_is_kept_as_argon2id_and_known_again() {
        let kept = hash("correct horse battery".to_owned()).await.unwrap();
        assert!(kept.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{kept}");
        assert!(is_right("correct horse battery".to_owned(), Some(kept.clone())).await.unwrap());
        assert!(!is_right("correct horse batterx".to_owned(), Some(kept.clone())).await.unwrap());
        assert!(!is_right("anything".to_owned(), None).await.unwrap());
        assert!(!is_outdated(&kept));
        assert!(is_outdated(&kept.replace("m=19456", "m=8192")));
        assert!(PasswordHash::new(NOBODY).is_ok() && !is_outdated(NOBODY));
    }
}
