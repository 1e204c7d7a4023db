//! Whether a folder lies on a network share. `SQLite`'s write-ahead log needs shared memory, which no
//! network file system gives (`SQLite` documentation, "Write-Ahead Logging"), so such a folder is refused.

use std::path::Path;

const NETWORK: &[&str] = &[
    "nfs",
    "nfs4",
    "cifs",
    "smb3",
    "smbfs",
    "ncpfs",
    "afs",
    "9p",
    "fuse.sshfs",
    "fuse.glusterfs",
    "ceph",
    "lustre",
    "davfs",
    "fuse.davfs2",
];

/// The kind of network file system a folder lies on, if it does and the machine can tell.
pub(crate) fn network_share(folder: &Path) -> Option<String> {
    // A share named as Windows names it.
    if folder.to_string_lossy().starts_with(r"\\") {
        return Some("network share".to_owned());
    }
    let mounts = std::fs::read_to_string("/proc/self/mounts").ok()?;
    network_kind(&mounts, &folder.canonicalize().ok()?)
}

fn network_kind(mounts: &str, folder: &Path) -> Option<String> {
    let mut found: Option<(usize, &str)> = None;
    for line in mounts.lines() {
        let mut words = line.split_ascii_whitespace().skip(1);
        let (Some(place), Some(kind)) = (words.next(), words.next()) else { continue };
        let place = place.replace(r"\040", " ");
        // The longest place that holds the folder is the one it lies on; of two, the later mount.
        if folder.starts_with(&place) && found.is_none_or(|(length, _)| place.len() >= length) {
            found = Some((place.len(), kind));
        }
    }
    found.map(|(_, kind)| kind).filter(|kind| NETWORK.contains(kind)).map(str::to_owned)
}

#[cfg(test)]
mod tests {
    use super::*;

    const MOUNTS: &str = "/dev/sda1 / ext4 rw 0 0\nserver:/share /share nfs4 rw 0 0\n//server/w /share/ward\\040desk cifs rw 0 0\ntmpfs /share/me/local tmpfs rw 0 0\n";

    #[test]
    fn a_folder_on_a_share_is_told_by_its_deepest_mount() {
        let kind = |path: &str| network_kind(MOUNTS, Path::new(path));
        assert_eq!(kind("/var/lib/matins"), None);
        assert_eq!(kind("/share/me/matins"), Some("nfs4".to_owned()));
        assert_eq!(kind("/share/ward desk/matins"), Some("cifs".to_owned()));
        assert_eq!(kind("/share/me/local/matins"), None);
        assert_eq!(network_share(Path::new(r"\\server\share")), Some("network share".to_owned()));
    }
}
