//! Folders and files that only their owner may read, whatever the umask of the machine says.

use std::fs;
use std::fs::File;
use std::fs::OpenOptions;
use std::io;
use std::path::Path;

/// What a folder is made with: its owner may do everything, nobody else anything.
#[cfg(unix)]
const FOLDER: u32 = 0o700;
/// What a file is made with.
#[cfg(unix)]
const FILE: u32 = 0o600;

/// Options that make a file for its owner alone.
pub(crate) fn options() -> OpenOptions {
    #[cfg_attr(not(unix), expect(unused_mut, reason = "nothing is set there"))]
    let mut options = OpenOptions::new();
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt as _;
        options.mode(FILE);
    }
    options
}

/// A new file that only its owner may read.
pub(crate) fn new_file(path: &Path) -> io::Result<File> {
    options().write(true).create_new(true).open(path)
}

/// Makes a folder, and those above it that are missing, for its owner alone.
pub(crate) fn new_folder(path: &Path) -> io::Result<()> {
    let mut builder = fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::DirBuilderExt as _;
        builder.mode(FOLDER);
    }
    builder.create(path)
}

/// The rights that others have on a folder or file, as `755`; `None` when only its owner has any.
#[cfg(unix)]
pub(crate) fn wider(path: &Path) -> io::Result<Option<String>> {
    use std::os::unix::fs::PermissionsExt as _;
    let mode = fs::metadata(path)?.permissions().mode() & 0o777;
    Ok((mode & 0o077 != 0).then(|| format!("{mode:o}")))
}

/// Nothing is known of others' rights here.
#[cfg(not(unix))]
#[expect(clippy::unnecessary_wraps, reason = "the shape of the other system's")]
pub(crate) fn wider(_: &Path) -> io::Result<Option<String>> {
    Ok(None)
}

/// Takes others' rights on a folder away.
#[cfg(unix)]
pub(crate) fn close_folder(path: &Path) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt as _;
    fs::set_permissions(path, fs::Permissions::from_mode(FOLDER))
}

/// Nothing is known of others' rights here.
#[cfg(not(unix))]
#[expect(clippy::unnecessary_wraps, reason = "the shape of the other system's")]
pub(crate) fn close_folder(_: &Path) -> io::Result<()> {
    Ok(())
}

/// Takes others' rights on a file away, where it is there.
pub(crate) fn close_file(path: &Path) -> io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        match fs::set_permissions(path, fs::Permissions::from_mode(FILE)) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
    }
    #[cfg(not(unix))]
    let _ = path;
    Ok(())
}
