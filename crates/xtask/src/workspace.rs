//! The workspace as cargo sees it: our crates, what each depends on, and where things stand on disk.

use cargo_metadata::{DependencyKind, Metadata, MetadataCommand, PackageId};
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};

/// What the checks need to know of the workspace.
#[derive(Debug)]
pub struct Workspace {
    /// The folder of the workspace's `Cargo.toml`.
    pub root: PathBuf,
    /// Where cargo puts what it builds.
    pub target: PathBuf,
    /// Our crates.
    pub members: Vec<Member>,
}

/// One of our crates.
#[derive(Debug, Clone)]
pub struct Member {
    /// Its name.
    pub name: String,
    /// Its folder.
    pub folder: PathBuf,
    /// The text of its `Cargo.toml`.
    pub manifest: String,
    /// The crates of ours it uses outside its tests.
    pub ours: BTreeSet<String>,
    /// The foreign crates it names outside its tests.
    pub foreign: BTreeSet<String>,
    /// Every crate it reaches outside its tests, with the crates on the way there, itself first.
    pub reaches: BTreeMap<String, Vec<String>>,
}

impl Workspace {
    /// Asks cargo.
    pub fn load() -> Result<Self, String> {
        let metadata = MetadataCommand::new().exec().map_err(|fault| format!("cargo metadata: {fault}"))?;
        let names: BTreeSet<String> =
            metadata.workspace_packages().iter().map(|package| package.name.to_string()).collect();
        let mut members = Vec::new();
        for package in metadata.workspace_packages() {
            let manifest_path = package.manifest_path.as_std_path();
            let manifest = read(manifest_path)?;
            let folder = manifest_path
                .parent()
                .ok_or_else(|| format!("{} has no folder", manifest_path.display()))?
                .to_owned();
            let named: BTreeSet<String> = package
                .dependencies
                .iter()
                .filter(|dependency| dependency.kind != DependencyKind::Development)
                .map(|dependency| dependency.name.clone())
                .collect();
            let (ours, foreign) = named.into_iter().partition(|name| names.contains(name));
            members.push(Member {
                name: package.name.to_string(),
                folder,
                manifest,
                ours,
                foreign,
                reaches: reaches(&metadata, &package.id),
            });
        }
        members.sort_by(|one, other| one.name.cmp(&other.name));
        Ok(Self {
            root: metadata.workspace_root.as_std_path().to_owned(),
            target: metadata.target_directory.as_std_path().to_owned(),
            members,
        })
    }

    /// The Rust files of one of our crates, tests and examples too, in a fixed order.
    pub fn rust_files(&self, name: &str) -> Result<Vec<PathBuf>, String> {
        let member = self.members.iter().find(|member| member.name == name).ok_or_else(|| {
            format!("there is no crate `{name}` any more: take it off the list of this check")
        })?;
        let mut found = Vec::new();
        collect_rust_files(&member.folder, &mut found)?;
        found.sort();
        Ok(found)
    }

    /// A path as people write it: from the root of the repository, with `/`.
    pub fn shown(&self, path: &Path) -> String {
        path.strip_prefix(&self.root).unwrap_or(path).display().to_string().replace('\\', "/")
    }
}

/// The cargo that runs us, or the one on the path.
pub fn cargo() -> OsString {
    std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into())
}

/// Reads a text file, naming it when that fails.
pub fn read(path: &Path) -> Result<String, String> {
    fs::read_to_string(path).map_err(|fault| format!("{}: {fault}", path.display()))
}

fn collect_rust_files(folder: &Path, found: &mut Vec<PathBuf>) -> Result<(), String> {
    let entries = fs::read_dir(folder).map_err(|fault| format!("{}: {fault}", folder.display()))?;
    for entry in entries {
        let path = entry.map_err(|fault| format!("{}: {fault}", folder.display()))?.path();
        if path.is_dir() {
            collect_rust_files(&path, found)?;
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
    Ok(())
}

/// Walks the resolved dependencies breadth first, so that the way kept is a shortest one.
fn reaches(metadata: &Metadata, start: &PackageId) -> BTreeMap<String, Vec<String>> {
    let Some(resolve) = &metadata.resolve else { return BTreeMap::new() };
    let nodes: BTreeMap<&PackageId, _> = resolve.nodes.iter().map(|node| (&node.id, node)).collect();
    let names: BTreeMap<&PackageId, String> =
        metadata.packages.iter().map(|package| (&package.id, package.name.to_string())).collect();
    let mut found = BTreeMap::new();
    let mut seen = BTreeSet::from([start]);
    let mut queue = VecDeque::from([(start, Vec::new())]);
    while let Some((id, way)) = queue.pop_front() {
        let mut way: Vec<String> = way;
        way.extend(names.get(id).cloned());
        let Some(node) = nodes.get(id) else { continue };
        for dependency in &node.deps {
            let used = dependency.dep_kinds.iter().any(|kind| kind.kind != DependencyKind::Development);
            if used && seen.insert(&dependency.pkg) {
                if let Some(name) = names.get(&dependency.pkg) {
                    found.entry(name.clone()).or_insert_with(|| way.clone());
                }
                queue.push_back((&dependency.pkg, way.clone()));
            }
        }
    }
    found
}
