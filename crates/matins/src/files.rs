//! Files: inputs read whole but bounded, outputs written whole or not at all.

use std::fs::{self, File};
use std::io::{self, ErrorKind, Read as _, Write as _};
use std::path::{Path, PathBuf};

use crate::message::Trouble;

/// The largest input, in bytes. A 10 h night with 100 Hz channels is some tens of megabytes; the limit
/// keeps a mistaken argument from filling the memory.
const INPUT_MOST: u64 = 4 * 1024 * 1024 * 1024;

/// The name to print for an input.
pub(crate) fn shown(path: &Path) -> String {
    if is_standard(path) { "standard input".to_owned() } else { path.display().to_string() }
}

/// Whether the path is `-`.
pub(crate) fn is_standard(path: &Path) -> bool {
    path.as_os_str() == "-"
}

/// Reads an input whole; `-` is standard input.
pub(crate) fn read(path: &Path) -> Result<Vec<u8>, Trouble> {
    read_bounded(path, INPUT_MOST).map_err(|trouble| trouble.about(shown(path)))
}

/// Reads a small text, such as notes, a map or criteria.
pub(crate) fn read_text(path: &Path) -> Result<String, Trouble> {
    String::from_utf8(read(path)?).map_err(|error| {
        let byte = error.utf8_error().valid_up_to();
        Trouble::not_understood("the text is not UTF-8")
            .about(shown(path))
            .at(format!("byte {byte}"))
    })
}

fn read_bounded(path: &Path, most: u64) -> Result<Vec<u8>, Trouble> {
    if is_standard(path) {
        return drain(io::stdin().lock(), most);
    }
    let unreadable = |error: io::Error| match error.kind() {
        ErrorKind::NotFound => Trouble::not_understood("there is no such file"),
        ErrorKind::PermissionDenied => Trouble::not_understood("the file may not be read"),
        _ => Trouble::not_understood(format!("the file cannot be read: {}", plain(&error))),
    };
    let about = fs::metadata(path).map_err(unreadable)?;
    if about.is_dir() {
        return Err(Trouble::not_understood("expected a file, found a folder"));
    }
    if about.len() > most {
        return Err(too_large(about.len(), most));
    }
    drain(File::open(path).map_err(unreadable)?, most)
}

fn drain(from: impl io::Read, most: u64) -> Result<Vec<u8>, Trouble> {
    let mut bytes = Vec::new();
    from.take(most + 1).read_to_end(&mut bytes).map_err(|error| {
        Trouble::not_understood(format!("the input cannot be read: {}", plain(&error)))
    })?;
    let length = bytes.len() as u64;
    if length > most { Err(too_large(length, most)) } else { Ok(bytes) }
}

fn too_large(found: u64, most: u64) -> Trouble {
    Trouble::not_understood(format!(
        "the input is larger than one night can be: expected at most {most} bytes, found {found}"
    ))
    .hint("a recording of several nights must be cut into nights first")
}

/// Refuses when an output stands already and may not be replaced.
pub(crate) fn free(path: &Path, force: bool) -> Result<(), Trouble> {
    if is_standard(path) || force || !path.exists() {
        return Ok(());
    }
    Err(Trouble::machine("the file stands already and was not replaced")
        .about(path.display().to_string())
        .hint("--force replaces it"))
}

/// Writes an output whole under a temporary name, then gives it its own: a file that is there is whole.
pub(crate) fn write(path: &Path, bytes: &[u8]) -> Result<(), Trouble> {
    if is_standard(path) {
        return print(bytes);
    }
    let part = part_name(path);
    let written = write_new(&part, bytes).and_then(|()| fs::rename(&part, path));
    written.map_err(|error| {
        // Whatever was begun goes away again; when that fails too, the first error is the one to tell.
        let _ = fs::remove_file(&part);
        Trouble::machine(format!("the file cannot be written: {}", plain(&error)))
            .about(path.display().to_string())
    })
}

fn write_new(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = own(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// A new file that only its owner may read, whatever the umask says: it may name a patient.
fn own(path: &Path) -> io::Result<File> {
    let mut options = File::options();
    options.write(true).create(true).truncate(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt as _;
        options.mode(0o600);
    }
    options.open(path)
}

fn part_name(path: &Path) -> PathBuf {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    path.with_file_name(format!(".{name}.{}.part", std::process::id()))
}

/// Prints data on standard output. A reader that has gone away (`| head`) has had enough: no error.
pub(crate) fn print(bytes: &[u8]) -> Result<(), Trouble> {
    let mut out = io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            Err(Trouble::machine(format!("standard output cannot be written: {}", plain(&error))))
        }
        _ => Ok(()),
    }
}

/// The system's words without its error number.
pub(crate) fn plain(error: &io::Error) -> String {
    let text = error.to_string();
    text.split(" (os error").next().unwrap_or(&text).to_lowercase()
}

/// A sibling of a file: `night.csv` and `truth.json` give `night.truth.json`.
pub(crate) fn beside(path: &Path, ending: &str) -> PathBuf {
    path.with_extension(ending)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_input_over_the_limit_is_refused_with_both_numbers() {
        let trouble = drain(&b"0123456789"[..], 9).unwrap_err();
        assert_eq!(
            trouble.what,
            "the input is larger than one night can be: expected at most 9 bytes, found 10"
        );
        assert_eq!(drain(&b"0123456789"[..], 10).unwrap().len(), 10);
    }

    #[test]
    fn siblings_share_the_stem() {
        assert_eq!(beside(Path::new("a/n.csv"), "truth.json"), Path::new("a/n.truth.json"));
    }
}
