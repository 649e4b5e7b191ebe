// Validates every .html file of a folder and prints the faults as JSON: [{ file, line, rule, message }].
// Usage: node validate.mjs FOLDER
import { readdirSync } from "node:fs";
import { join } from "node:path";
import { FileSystemConfigLoader, HtmlValidate } from "html-validate";

const loader = new FileSystemConfigLoader({
  root: true,
  extends: ["html-validate:standard", "html-validate:a11y", "html-validate:document"],
  rules: {
    // The server writes valid HTML in a style of its own: empty elements closed, no longest title.
    "void-style": "off",
    "no-trailing-whitespace": "off",
    "attribute-boolean-style": "off",
    "attribute-empty-style": "off",
    "long-title": "off",
    // A telephone number must not break, but no page depends on it.
    "tel-non-breaking": "off",
    // A button of a form sends it unless it says otherwise: that is what is meant.
    "no-implicit-button-type": "off",
    // What must be acted on first stands before the title of a note.
    "heading-level": ["error", { minInitialRank: "h2" }],
    // Scripts and styles are held by the strict Content-Security-Policy and come from the service itself.
    "require-sri": "off",
  },
});
const validator = new HtmlValidate(loader);
const folder = process.argv[2];
const files = readdirSync(folder).filter((name) => name.endsWith(".html")).map((name) => join(folder, name));
const report = await validator.validateMultipleFiles(files);
console.log(JSON.stringify(report.results.flatMap((result) => result.messages.filter((m) => m.severity === 2)
  .map((m) => ({ file: result.filePath, line: m.line, rule: m.ruleId, message: m.message })))));
