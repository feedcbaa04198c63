"""Validate lines of JSON against a schema, and refuse keys that the schema does not name.

usage: validate.py SCHEMA FILE...    exit 0 valid, 1 not, 77 python3-jsonschema is absent
"""
import json
import sys

try:
    import jsonschema
except ImportError:
    print("skipped: python3-jsonschema is not installed")
    sys.exit(77)


def refuse_constant(name):
    raise ValueError(f"{name} is not JSON")


def unnamed(schema, value, root, path):
    """Keys of `value` that the schema does not name: a misspelt key would otherwise pass as an added one."""
    if "oneOf" in schema and isinstance(value, dict):  # the kind of line that the format names
        for branch in schema["oneOf"]:
            if "$ref" not in branch:
                continue
            branch = root["$defs"][branch["$ref"].rsplit("/", 1)[1]]
            if branch.get("properties", {}).get("format", {}).get("const") == value.get("format"):
                schema = branch
    if "$ref" in schema:
        schema = root["$defs"][schema["$ref"].rsplit("/", 1)[1]]
    if isinstance(value, dict):
        named = schema.get("properties", {})
        for key, inner in value.items():
            if key not in named and "propertyNames" in schema:  # validated by name there
                continue
            if key not in named:
                yield f"{path}/{key}"
            else:
                yield from unnamed(named[key], inner, root, f"{path}/{key}")
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            yield from unnamed(schema.get("items", {}), inner, root, f"{path}/{i}")


def check(schema, text, name):
    wrong = 0
    for number, line in enumerate(text.splitlines(), 1):
        document = json.loads(line, parse_constant=refuse_constant)
        validator = jsonschema.Draft202012Validator(schema)
        messages = [f"{'/'.join(map(str, e.absolute_path))}: {e.message}" for e in validator.iter_errors(document)]
        messages += [f"{key}: not named by the schema" for key in unnamed(schema, document, schema, "")]
        for message in messages:
            print(f"{name}:{number}: {message}")
        wrong += len(messages)
    return wrong


def main():
    with open(sys.argv[1], encoding="utf-8") as f:
        schema = json.load(f)
    jsonschema.Draft202012Validator.check_schema(schema)
    wrong = 0
    for name in sys.argv[2:]:
        with open(name, encoding="utf-8") as f:
            wrong += check(schema, f.read(), name)
    sys.exit(1 if wrong else 0)


main()
