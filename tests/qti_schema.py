"""What the schemas of QTI 2.1 and of its package say of each element that an exam writes, and more.

The facts below, in own words, were read in imsqti_v2p1.xsd (final release, 31 July 2012, as kept in the
public repository of an open testing platform) and in imscp_v1p1.xsd (version 1.1.3, 21 March 2003),
element by element, cut down to what an exam writes. Not read there, and from memory: the resource, the
schema and the schemaversion of a package. The schemas do not lie here: their notice asks who brings
them into a product first to register. Whoever has them runs

    python -m tests.qti_schema --schema DIR/imsqti_v2p1.xsd

which draws every question of every lesson and has each file read by xmllint (libxml2) against that file;
without `--schema` the table is asked alone.
"""

import argparse
import io
import re
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path
from xml.etree import ElementTree

from lessons.teaching.exam import draw_exam
from lessons.teaching.exam_qti import exam_qti
from lessons.teaching.lesson_file import lesson_files, number_of

ITEM, PACKAGE = "{http://www.imsglobal.org/xsd/imsqti_v2p1}", "{http://www.imsglobal.org/xsd/imscp_v1p1}"
WHERE = "{http://www.w3.org/2001/XMLSchema-instance}schemaLocation"
NAME = r"[A-Za-z_][\w.-]*"
TYPES = {
    "text": "(?s:.*)", "boolean": "true|false|0|1", "int": r"[+-]?\d+", "name": NAME, "id": NAME,
    "idref": NAME, "uri": r"\S*", "double": r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?",
    "cardinality": "multiple|ordered|record|single",
    "base": "boolean|directedPair|duration|file|float|identifier|integer|pair|point|string|uri"}
VALUE = "(and|or|gte|lte|match|sum|variable|correct|baseValue)"
# Children in their order; whether there is text: "no", "empty" for no child either, "text"; attributes
# with their type, those that may be left out with "?". No other attribute is allowed.
MODEL = {
    "assessmentItem": ("responseDeclaration* outcomeDeclaration* itemBody? responseProcessing?", "no",
                       "identifier:text title:text adaptive:boolean? timeDependent:boolean"),
    "responseDeclaration": ("defaultValue? correctResponse?", "no",
                            "identifier:id cardinality:cardinality baseType:base?"),
    "outcomeDeclaration": ("defaultValue?", "no", "identifier:name cardinality:cardinality baseType:base? "
                           "normalMaximum:double? normalMinimum:double?"),
    "correctResponse": ("value+", "no", ""), "defaultValue": ("value+", "no", ""),
    "value": ("", "text", "fieldIdentifier:name? baseType:base?"),
    "itemBody": ("(p|choiceInteraction|orderInteraction)+", "no", ""),
    "p": ("(textEntryInteraction|inlineChoiceInteraction)*", "text", ""),
    "textEntryInteraction": ("", "empty", "responseIdentifier:idref expectedLength:int?"),
    "inlineChoiceInteraction": ("inlineChoice+", "no", "responseIdentifier:name shuffle:boolean?"),
    "inlineChoice": ("", "text", "identifier:name fixed:boolean?"),
    "choiceInteraction": ("simpleChoice+", "no",
                          "responseIdentifier:name shuffle:boolean? maxChoices:int? minChoices:int?"),
    "orderInteraction": ("simpleChoice+", "no",
                         "responseIdentifier:name shuffle:boolean? maxChoices:int? minChoices:int?"),
    "simpleChoice": ("", "text", "identifier:name fixed:boolean?"),
    "responseProcessing": ("(responseCondition|setOutcomeValue)*", "no", ""),
    "responseCondition": ("responseIf", "no", ""),
    "responseIf": (f"{VALUE} (responseCondition|setOutcomeValue)*", "no", ""),
    "setOutcomeValue": (VALUE, "no", "identifier:name"),
    "match": (f"{VALUE} {VALUE}", "no", ""), "gte": (f"{VALUE} {VALUE}", "no", ""),
    "lte": (f"{VALUE} {VALUE}", "no", ""), "or": (f"{VALUE}+", "no", ""), "and": (f"{VALUE}+", "no", ""),
    "sum": ("(sum|variable|correct|baseValue)+", "no", ""),
    "variable": ("", "empty", "identifier:name"), "correct": ("", "empty", "identifier:name"),
    "baseValue": ("", "text", "baseType:base"),
}
MANIFEST = {
    "manifest": ("metadata? organizations resources", "no", "identifier:id"),
    "metadata": ("schema? schemaversion?", "no", ""), "schema": ("", "text", ""),
    "schemaversion": ("", "text", ""), "organizations": ("", "no", ""), "resources": ("resource*", "no", ""),
    "resource": ("metadata? file*", "no", "identifier:id type:text href:uri?"),
    "file": ("metadata?", "no", "href:uri"),
}
# Which response an interaction gives, by the information model.
GIVES = {"choiceInteraction": ("single", "identifier"), "inlineChoiceInteraction": ("single", "identifier"),
         "orderInteraction": ("ordered", "identifier"), "textEntryInteraction": ("single", "float")}


def unlike_schema(root):
    """Yield what an item or a manifest has that its schema does not allow."""
    space, model = (ITEM, MODEL) if root.tag.startswith(ITEM) else (PACKAGE, MANIFEST)
    seen, asked = set(), []
    for node in root.iter():
        tag = node.tag.removeprefix(space)
        if tag not in model:
            yield f"{tag} is not in the table"
            continue
        children, text, attributes = model[tag]
        pattern = re.sub(r"\w+", lambda name: f"(?:{name[0]},)", children).replace(" ", "")
        inside = "".join(f"{child.tag.removeprefix(space)}," for child in node)
        if not re.fullmatch(pattern, inside):
            yield f"{tag} holds {inside}"
        said = [node.text or "", *(child.tail or "" for child in node)]
        if text != "text" and "".join(said).strip() or text == "empty" and "".join(said):
            yield f"{tag} holds the text {said}"
        kinds = dict(each.split(":") for each in attributes.split())
        for name in {*kinds} - {*node.keys()}:
            if not kinds[name].endswith("?"):
                yield f"{tag} is without {name}"
        for name, value in node.items():
            kind = kinds.get(name, "").removesuffix("?")
            if node is root and name == WHERE:
                continue
            if not kind or not re.fullmatch(TYPES[kind], value):
                yield f"{tag} has {name}={value!r}"
            if kind == "id" and value in seen:
                yield f"{value!r} is the name of two"
            if kind == "id":
                seen.add(value)
            if name == "responseIdentifier":
                asked.append((tag, value))
    declared = {node.get("identifier"): (node.get("cardinality"), node.get("baseType"))
                for node in root.iter(f"{ITEM}responseDeclaration")}
    for tag, name in asked:
        if declared.get(name) != GIVES[tag]:
            yield f"{tag} asks for {name}, declared as {declared.get(name)}"


def packages(seeds):
    """Yield each package of an exam with every question of a lesson, by its name."""
    for seed in range(1, seeds + 1):
        for lesson in map(number_of, lesson_files()):
            yield f"{lesson}, seed {seed}", zipfile.ZipFile(io.BytesIO(
                exam_qti(draw_exam((lesson,), seed=seed, minutes=600))))


def main(words=None):
    """Print what is unlike the schema, and how many files were read; return 1 if there was any."""
    parser = argparse.ArgumentParser(prog="python -m tests.qti_schema", description=__doc__.splitlines()[0])
    parser.add_argument("--schema", type=Path, help="imsqti_v2p1.xsd, beside what it imports")
    parser.add_argument("--seeds", type=int, default=3)
    given, files, wrong = parser.parse_args(words), 0, []
    for where, package in packages(given.seeds):
        with tempfile.TemporaryDirectory() as folder:
            package.extractall(folder)
            items = sorted(Path(folder).glob("Q*.xml"))
            files += len(items)
            wrong += [f"{where}, {path.name}: {said}" for path in Path(folder).glob("*.xml")
                      for said in unlike_schema(ElementTree.parse(path).getroot())]
            if given.schema:
                run = subprocess.run(["xmllint", "--noout", "--nonet", "--schema", given.schema, *items],
                                     capture_output=True, text=True, check=False)
                wrong += [f"{where}: {line}" for line in run.stderr.splitlines()
                          if not line.endswith(" validates")]
    print(*wrong, f"{files} questions, {len(wrong)} unlike the schema", sep="\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
