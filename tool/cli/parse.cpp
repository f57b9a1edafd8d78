// The command line. CLI11 is slow to compile, so it stands in this file alone.
#include <algorithm>
#include <map>
#include <thread>

#include <unistd.h>

#include <fmt/format.h>
#include <CLI/CLI.hpp>

#include "base/words.h"
#include "cli/options.h"
#include "release/version.h"

namespace bindery {

namespace {

const std::vector<std::string> acts = {"check", "write", "draft"};
const std::vector<std::string> nouns = {"machines", "materials", "processes", "profiles",
                                        "sets",     "settings",  "rules",     "diagnostics"};

struct Parser {
  CLI::App app{
      "Compiles a tree of machine, material and process fragments into checked profiles and release archives."};
  std::map<std::string, CLI::App*> commands;
  std::map<std::string, std::vector<std::string>> formats;  // that each command knows
  std::string colour = "auto", folder = ".", at, version, out = "out", tier, rebuild, since, overlay, dialect, like,
              into, fresh;
  std::vector<std::string> more;
  unsigned jobs = std::max(1u, std::thread::hardware_concurrency());
  std::string first, second;

  CLI::App* command(const std::string& name, const std::string& about) {
    CLI::App* sub = app.add_subcommand(name, about);
    sub->fallthrough();
    commands[name] = sub;
    return sub;
  }

  explicit Parser(Options& options) {
    app.name("bindery");
    app.set_version_flag("--version", tool_version());
    app.require_subcommand(0, 1);
    app.add_option("-C", folder, "work in this folder instead of the present one")->type_name("DIR");
    app.add_option("-j", jobs, "how many cores to use")->type_name("N")->check(CLI::Range(1u, 1024u));
    app.add_option("--color", colour, "colours on stderr: auto, always or never")
        ->type_name("WHEN")
        ->check(CLI::IsMember({"auto", "always", "never"}));

    app.add_flag("--timings", options.timings, "print what each stage took, on stderr");

    auto format = [&](CLI::App* sub, std::vector<std::string> known, const std::string& standard) {
      sub->add_option("--format", options.format,
                      fmt::format("one of {} ({} if absent)", fmt::join(known, ", "), standard))
          ->type_name("FORMAT");
      formats[sub->get_name()] = std::move(known);
    };
    auto cache = [&](CLI::App* sub) {
      sub->add_flag_callback(
          "--no-cache", [&options] { options.cache = false; }, "find everything anew, and keep nothing in .bindery/");
    };
    CLI::App* validate =
        command("validate", "check the whole tree and every profile of its sets, or a contribution to it");
    validate->add_option("--since", since, "judge what the branch changes since it left this tag, branch or commit")
        ->type_name("REV");
    validate->add_option("--overlay", overlay, "judge the files of this folder or zip, laid over the tree")
        ->type_name("PATH");
    validate->add_option("--tier", tier, "for whom: free or supporter (supporter if absent)")->type_name("TIER");
    validate->add_flag("--strict", options.strict, "warnings count as errors");
    format(validate, {"text", "json", "sarif", "markdown"}, "text");
    cache(validate);

    CLI::App* list = command("list", fmt::format("list {}", join_words(nouns, "or")));
    list->add_option("what", first, fmt::format("one of {}", join_words(nouns, "or")))->required()->type_name("WHAT");
    format(list, {"text", "json"}, "text");

    CLI::App* show = command("show", "print one profile with the source of each value");
    show->add_option("profile", first, "machine/material/process")->required()->type_name("PROFILE");
    show->add_option("--at", at, "read the tree at this tag, branch or commit")->type_name("REV");
    format(show, {"text", "json"}, "text");

    CLI::App* why = command("why", "tell the story of one value of a profile");
    why->add_option("profile", first, "machine/material/process")->required()->type_name("PROFILE");
    why->add_option("setting", second, "a key; see `list settings`")->required()->type_name("SETTING");

    CLI::App* compare = command("compare", "print what differs between two profiles");
    compare->add_option("left", first, "machine/material/process")->required()->type_name("PROFILE");
    compare->add_option("right", second, "machine/material/process")->required()->type_name("PROFILE");
    format(compare, {"text", "json"}, "text");

    CLI::App* build = command("build", "build the release archives");
    build->add_option("--version", version, "the version, after SemVer 2.0.0; without it a snapshot is built")
        ->type_name("V");
    build->add_option("--at", at, "build this tag, branch or commit")->type_name("REV");
    build->add_option("--out", out, "where releases go (out/ below the tree's root if absent)")->type_name("DIR");
    build->add_flag("--snapshot", options.snapshot,
                    "build no release, but a version between: the same as without --version");
    build->add_flag("--any-version", options.any_version, "take the version, whatever the change asks for");
    cache(build);

    CLI::App* changelog = command("changelog", "tell what changed between two versions, by cause");
    changelog->add_option("from", first, "a tag, branch or commit, or a release archive (the release before if absent)")
        ->type_name("FROM");
    changelog->add_option("to", second, "the same (the tree as it stands if absent)")->type_name("TO");
    changelog->add_option("--tier", tier, "for whom: free or supporter (supporter if absent)")->type_name("TIER");
    changelog->add_flag("--list", options.list, "name every profile that a line speaks of");
    format(changelog, {"markdown", "json"}, "markdown");
    cache(changelog);

    CLI::App* next = command("next-version", "tell the version that the changes ask for");
    next->add_option("from", first, "a tag, branch or commit, or a release archive (the release before if absent)")
        ->type_name("FROM");
    cache(next);

    CLI::App* verify = command("verify", "check a release: an archive, a tier's folder, or a version's folder");
    verify->add_option("path", first, "what to check")->type_name("PATH");
    verify->add_option("--rebuild", rebuild, "build this version again, and compare it with the ledger")
        ->type_name("V");
    format(verify, {"text", "json"}, "text");

    CLI::App* dialect_command =
        command("dialect", fmt::format("{} the tables that write profiles for other programs", join_words(acts, "or")));
    dialect_command->add_option("act", first, fmt::format("one of {}", join_words(acts, "or")))
        ->required()
        ->type_name("ACT");
    dialect_command
        ->add_option(
            "words", more,
            "check: a dialect (all if absent); write: a dialect and a profile; draft: files that the program wrote")
        ->type_name("WORD");
    dialect_command->add_option("--out", out, "write: put the files into this folder instead of printing them")
        ->type_name("DIR");
    dialect_command->add_option("--like", like, "draft: a profile whose values the files hold")->type_name("PROFILE");
    dialect_command->add_flag("--strict", options.strict, "warnings count as errors");
    format(dialect_command, {"text", "json"}, "text");

    CLI::App* import =
        command("import", "bring values back from files of another program, as the smallest edit of the tree");
    import->add_option("files", more, "files that the program wrote")->required()->type_name("FILE");
    import->add_option("--dialect", dialect, "the dialect that the files are written in")->required()->type_name("D");
    import->add_option("--like", like, "the profile that they are versions of: machine/material/process")
        ->required()
        ->type_name("PROFILE");
    import
        ->add_option("--into", into,
                     "the fragment that is edited, as in `process/everyday` (the fitting one if absent)")
        ->type_name("FRAGMENT");
    import->add_option("--new", fresh, "leave all as it is, and write a process of this name")->type_name("NAME");
    import->add_flag("--follow", options.follow,
                     "let values that formulas make follow, instead of holding them where the files have them");
    import->add_flag("--write", options.write, "change the tree (without it the edit is shown)");
    format(import, {"text", "json"}, "text");

    CLI::App* schema = command("schema", "print the dictionary for editors or readers");
    format(schema, {"json-schema", "markdown"}, "json-schema");
  }

  // What CLI11 would tell less helpfully: a word in the command's place that is none, an option that nobody knows.
  std::string misspelt(int count, char** arguments) const {
    const CLI::App* sub = nullptr;
    for (int i = 1; i < count; ++i) {
      std::string_view word = arguments[i];
      if (word == "--") return {};
      if (word.starts_with("--")) {
        std::string name(word.substr(2, word.find('=') - 2));
        auto known = option_names(sub);
        if (std::find(known.begin(), known.end(), name) == known.end()) return unknown("option", "--", name, known);
        bool flag = name == "version" ? sub == nullptr : is_flag(sub, name);
        if (!flag && word.find('=') == std::string_view::npos) ++i;
      } else if (word == "-C" || word == "-j") {
        ++i;
      } else if (!word.starts_with('-') && sub == nullptr) {
        auto found = commands.find(std::string(word));
        if (found == commands.end()) return unknown("command", "", std::string(word), keys(commands));
        sub = found->second;
      }
    }
    return {};
  }

  // A format that the command does not know, or a word that it needs.
  std::string wrong_words(const Options& options) const {
    auto known = formats.find(options.command);
    if (known != formats.end() &&
        std::find(known->second.begin(), known->second.end(), options.format) == known->second.end())
      return unknown("format", "", options.format, known->second);
    const std::vector<std::string> tiers = {"free", "supporter"};
    if (!tier.empty() && std::find(tiers.begin(), tiers.end(), tier) == tiers.end())
      return unknown("tier", "", tier, tiers);
    if (options.command == "list" && std::find(nouns.begin(), nouns.end(), first) == nouns.end())
      return unknown("list", "", first, nouns);
    if (options.command == "dialect") return wrong_act();
    return {};
  }

 private:
  // Each act of `dialect` takes words of its own.
  std::string wrong_act() const {
    if (std::find(acts.begin(), acts.end(), first) == acts.end()) return unknown("act", "", first, acts);
    auto needs = [&](std::string_view what) {
      return fmt::format("error: `dialect {}` takes {}\n  help: see `bindery dialect --help`\n", first, what);
    };
    if (first == "check" && more.size() > 1) return needs("one DIALECT, or none for all");
    if (first == "write" && more.size() != 2) return needs("DIALECT and PROFILE");
    if (first == "draft" && more.empty()) return needs("FILEs that the program wrote");
    // Options that another act takes.
    const CLI::App* sub = commands.at("dialect");
    for (const auto& [option, act] : {std::pair<std::string, std::string>{"--out", "write"},
                                      {"--like", "draft"},
                                      {"--strict", "check"},
                                      {"--format", "check"}}) {
      if (sub->count(option) > 0 && first != act)
        return fmt::format("error: `dialect {}` takes no {}\n  help: it belongs to `dialect {}`\n", first, option, act);
    }
    return {};
  }

  static std::vector<std::string> keys(const std::map<std::string, CLI::App*>& map) {
    std::vector<std::string> found;
    for (const auto& [name, sub] : map) found.push_back(name);
    return found;
  }

  bool is_flag(const CLI::App* sub, const std::string& name) const {
    if (name == "help") return true;
    for (const CLI::App* each : {&app, sub}) {
      const CLI::Option* option = each == nullptr ? nullptr : each->get_option_no_throw("--" + name);
      if (option != nullptr) return option->get_items_expected_max() == 0;
    }
    return false;
  }

  std::vector<std::string> option_names(const CLI::App* sub) const {
    std::vector<std::string> found = {"help"};
    for (const CLI::App* each : {&app, sub}) {
      if (each == nullptr) continue;
      for (const CLI::Option* option : each->get_options()) {
        for (const std::string& name : option->get_lnames()) {
          if (std::find(found.begin(), found.end(), name) == found.end()) found.push_back(name);
        }
      }
    }
    return found;
  }

  static std::string unknown(std::string_view what, std::string_view sign, const std::string& word,
                             const std::vector<std::string>& known) {
    std::string near = nearest(word, {known.begin(), known.end()});
    std::string cure = near.empty() ? fmt::format("known: {}{}", sign, fmt::join(known, fmt::format(", {}", sign)))
                                    : fmt::format("did you mean '{}{}'", sign, near);
    return fmt::format("error: unknown {} '{}{}'\n  help: {}\n", what, sign, word, cure);
  }
};

// "`show` needs PROFILE".
std::string told(const CLI::ParseError& error, const Parser& parser) {
  for (const auto& [name, sub] : parser.commands) {
    if (!sub->parsed() || error.get_exit_code() != static_cast<int>(CLI::ExitCodes::RequiredError)) continue;
    std::vector<std::string> words;
    for (const CLI::Option* option : sub->get_options()) {
      if (!option->get_required() || option->count() > 0) continue;
      words.push_back(option->get_positional() ? option->get_type_name()
                                               : fmt::format("{} {}", option->get_name(), option->get_type_name()));
    }
    std::string cure = name == "list"      ? fmt::format("lists are {}", join_words(nouns))
                       : name == "dialect" ? fmt::format("acts are {}", join_words(acts))
                                           : fmt::format("see `bindery {} --help`", name);
    return fmt::format("error: `{}` needs {}\n  help: {}\n", name, join_words(words), cure);
  }
  return fmt::format("error: {}\n  help: see `bindery --help`, or `bindery COMMAND --help`\n", error.what());
}

bool wants_colour(const std::string& when) {
  if (when != "auto") return when == "always";
  const char* refused = std::getenv("NO_COLOR");  // no-color.org
  return (refused == nullptr || *refused == '\0') && isatty(STDERR_FILENO) != 0;
}

Exit mistake(const std::string& message) {
  fmt::print(stderr, "{}", message);
  return Exit::usage;
}

}  // namespace

std::optional<Exit> parse_options(int count, char** arguments, Options& options) {
  Parser parser(options);
  if (std::string wrong = parser.misspelt(count, arguments); !wrong.empty()) return mistake(wrong);
  try {
    parser.app.parse(count, arguments);
  } catch (const CLI::Success& asked) {
    parser.app.exit(asked);
    return Exit::done;
  } catch (const CLI::ParseError& error) {
    return mistake(told(error, parser));
  }
  for (const auto& [name, sub] : parser.commands) {
    if (sub->parsed()) options.command = name;
  }
  if (options.command.empty()) {
    fmt::print(stderr, "{}", parser.app.help());
    return Exit::usage;
  }
  if (options.command == "schema" && options.format == "text") options.format = "json-schema";
  if (options.command == "changelog" && options.format == "text") options.format = "markdown";
  if (std::string wrong = parser.wrong_words(options); !wrong.empty()) return mistake(wrong);
  options.colour = wants_colour(parser.colour);
  options.folder = parser.folder;
  options.jobs = parser.jobs;
  options.words = {parser.first, parser.second};
  if (options.command == "dialect" || options.command == "import") {
    options.words = parser.more;
    if (options.command == "dialect") options.words.insert(options.words.begin(), parser.first);
    options.words.resize(std::max<std::size_t>(options.words.size(), options.command == "dialect" ? 2 : 1));
    for (auto [text, into] : {std::pair(&parser.dialect, &options.dialect),
                              {&parser.like, &options.like},
                              {&parser.into, &options.into},
                              {&parser.fresh, &options.fresh}}) {
      if (!text->empty()) *into = *text;
    }
  }
  if (!parser.at.empty()) options.at = parser.at;
  if (!parser.tier.empty()) options.tier = parser.tier;
  CLI::App* validate = parser.commands.at("validate");
  if (validate->count("--since") > 0) options.since = parser.since;
  if (validate->count("--overlay") > 0) options.overlay = parser.overlay;
  if (parser.commands.at("verify")->count("--rebuild") > 0) options.rebuild = parser.rebuild;
  CLI::App* build = parser.commands.at("build");
  if (build->count("--version") > 0) options.version = parser.version;
  if (build->count("--out") + parser.commands.at("dialect")->count("--out") > 0) options.out = parser.out;
  else options.out.clear();
  return std::nullopt;
}

}  // namespace bindery
