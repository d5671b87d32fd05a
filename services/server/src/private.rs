//! Files that only the server's own user may read: keys, and what stands beside them. Each is replaced whole, never in
//! part, and is on the disk when the call returns.

use std::{
    fs::{self, DirBuilder, OpenOptions, Permissions},
    io::{self, Write},
    os::unix::fs::{DirBuilderExt, OpenOptionsExt, PermissionsExt},
    path::Path,
};

use crate::journal::{Disk, RealDisk};

/// For the server's own user alone.
const OWN: u32 = 0o600;

/// Puts these bytes in the place of what the file held, and makes its folder if it is not there.
pub(crate) fn replace(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let above = path.parent().ok_or(io::ErrorKind::InvalidInput)?;
    folder(above)?;
    let mut part = path.as_os_str().to_owned();
    part.push(".part");
    let part = Path::new(&part);
    let mut file = OpenOptions::new().write(true).create(true).truncate(true).mode(OWN).open(part)?;
    // One that an earlier try left may have been made for others too.
    file.set_permissions(Permissions::from_mode(OWN))?;
    file.write_all(bytes)?;
    file.sync_all()?;
    fs::rename(part, path)?;
    RealDisk.sync_dir(above)
}

/// A folder for the server's own user alone, made where it is not there. The one above is there.
pub(crate) fn folder(path: &Path) -> io::Result<()> {
    if path.is_dir() {
        return Ok(());
    }
    DirBuilder::new().mode(0o700).create(path)?;
    RealDisk.sync_dir(path.parent().filter(|above| !above.as_os_str().is_empty()).unwrap_or(Path::new(".")))
}

/// Lets nobody else read it.
pub(crate) fn keep_to_itself(path: &Path) -> io::Result<()> {
    fs::set_permissions(path, Permissions::from_mode(OWN))
}

/// What the file holds; nothing, where there is none.
pub(crate) fn read(path: &Path) -> io::Result<Option<Vec<u8>>> {
    match fs::read(path) {
        Ok(bytes) => Ok(Some(bytes)),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(error),
    }
}

/// Takes the file away; there may be none.
pub(crate) fn remove(path: &Path) -> io::Result<()> {
    match fs::remove_file(path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_else_reads_it_even_where_an_earlier_try_let_them() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("people/key");
        replace(&path, b"first").unwrap();
        fs::write(folder.path().join("people/key.part"), "left").unwrap();
        fs::set_permissions(folder.path().join("people/key.part"), Permissions::from_mode(0o644)).unwrap();
        replace(&path, b"second").unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
        assert_eq!((mode(&path), mode(path.parent().unwrap())), (0o600, 0o700));
        assert_eq!(read(&path).unwrap().unwrap(), b"second");
        assert_eq!(fs::read_dir(path.parent().unwrap()).unwrap().count(), 1);
        remove(&path).unwrap();
        remove(&path).unwrap();
        assert_eq!(read(&path).unwrap(), None);
    }
}
