//! Packs what would take room on a small board. The built-in faces: each BDF file of `fonts/` becomes a zlib stream (RFC 1950) for the
//! catalogue to include; as text they would be a fifth of the program. And the relocations, 2 % of it: in the packed form that glibc
//! reads since 2.36, for whose linkers this is meant; others say that they leave it.

use std::path::Path;
use std::{env, fs, io};

/// The best that the packer can do; the files are small, and packed once a build.
const LEVEL: u8 = 10;

fn main() -> io::Result<()> {
    println!("cargo::rerun-if-changed=fonts");
    let target = |part| env::var(format!("CARGO_CFG_TARGET_{part}")).unwrap_or_default();
    if (target("OS"), target("ENV")) == ("linux".into(), "gnu".into()) {
        println!("cargo::rustc-link-arg-bins=-Wl,-z,pack-relative-relocs");
    }
    let variable = |name| env::var_os(name).ok_or_else(|| io::Error::other(format!("cargo sets {name}")));
    let (project, out) = (variable("CARGO_MANIFEST_DIR")?, variable("OUT_DIR")?);
    for entry in fs::read_dir(Path::new(&project).join("fonts"))? {
        let path = entry?.path();
        if let Some(name) = path.file_stem().filter(|_| path.extension().is_some_and(|extension| extension == "bdf")) {
            let packed = miniz_oxide::deflate::compress_to_vec_zlib(&fs::read(&path)?, LEVEL);
            fs::write(Path::new(&out).join(name).with_extension("z"), packed)?;
        }
    }
    Ok(())
}
