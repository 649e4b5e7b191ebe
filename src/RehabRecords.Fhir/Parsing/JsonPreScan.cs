using System.Buffers;
using System.Text;
using System.Text.Json;
using System.Text.Unicode;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Parsing;

/// <summary>
/// Reads the tokens of a JSON body once before the FHIR parser sees it and refuses what would cost too much there, or
/// would be stored otherwise than it was sent.
/// </summary>
internal ref struct JsonPreScan
{
    private readonly ReadOnlySpan<byte> _body;
    private readonly ReadLimits _limits;
    private readonly Frame[] _frames;
    private readonly List<(string Message, OperationOutcome.IssueType Code, Step[] Steps)> _problems = [];
    private int _depth;
    private long _elements;
    private (int Start, int Length) _pendingName;
    private string? _resourceType;

    private JsonPreScan(ReadOnlySpan<byte> body, ReadLimits limits)
    {
        _body = body;
        _limits = limits;
        _frames = new Frame[limits.MaxDepth + 1];
    }

    /// <exception cref="RefusedException">Malformed, or TooLarge for what is over a limit.</exception>
    public static void Check(ReadOnlySpan<byte> body, ReadLimits limits)
    {
        if (!Utf8.IsValid(body))
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Structure, "The body is not valid UTF-8. Send JSON encoded as UTF-8.");
        var scan = new JsonPreScan(body, limits);
        try
        {
            scan.Run();
        }
        catch (JsonException e)
        {
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Structure, scan.SyntaxMessage(e), scan.PathHere());
        }

        if (scan._problems.Count > 0)
            throw new RefusedException(Refusal.Malformed, scan.Issues());
    }

    private void Run()
    {
        var reader = new Utf8JsonReader(_body, new JsonReaderOptions { MaxDepth = _limits.MaxDepth, CommentHandling = JsonCommentHandling.Disallow });
        while (reader.Read())
        {
            switch (reader.TokenType)
            {
                case JsonTokenType.StartObject or JsonTokenType.StartArray:
                    if (_depth == 0 && reader.TokenType == JsonTokenType.StartArray)
                        throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Structure, "The body is a JSON array; send one resource as a JSON object.");
                    CountElement();
                    Push(reader.TokenType == JsonTokenType.StartArray);
                    break;
                case JsonTokenType.EndObject or JsonTokenType.EndArray:
                    Pop();
                    break;
                case JsonTokenType.PropertyName:
                    Name(ref reader);
                    break;
                case JsonTokenType.String:
                    CountElement();
                    Text(ref reader);
                    _pendingName = default;
                    break;
                case JsonTokenType.Number:
                    CountElement();
                    if (JsonNumber.WhyItWouldChange(reader.ValueSpan) is { } why)
                        Problem(why, OperationOutcome.IssueType.Value);
                    _pendingName = default;
                    break;
                default:
                    CountElement();
                    _pendingName = default;
                    break;
            }

            if (_problems.Count >= _limits.MaxIssues)
                return;
        }
    }

    private void CountElement()
    {
        if (_depth == 0 || !_frames[_depth].IsArray)
            return;
        ref var frame = ref _frames[_depth];
        frame.Count++;
        if (frame.Count > _limits.MaxArrayLength)
            throw TooLarge($"The array has more than {_limits.MaxArrayLength} elements. Send fewer at a time.");
        if (++_elements > 1000 + (_body.Length / _limits.BytesPerElement))
            throw TooLarge($"The body has more array elements than a body of {_body.Length} bytes may have. Leave out elements that say nothing.");
    }

    private void Push(bool isArray)
    {
        if (_depth > 0 && _frames[_depth].IsArray && isArray)
            Problem("An array lies directly in another array. FHIR has no arrays of arrays.", OperationOutcome.IssueType.Structure);
        ref var frame = ref _frames[++_depth];
        frame.IsArray = isArray;
        frame.Count = 0;
        frame.Name = _pendingName;
        (frame.Names ??= []).Clear();
        _pendingName = default;
    }

    private void Pop()
    {
        if (_frames[_depth].Count == 0)
        {
            Problem(
                _frames[_depth].IsArray
                    ? "The array is empty. Leave the element out instead."
                    : "The object is empty. Give it content or leave the element out.",
                OperationOutcome.IssueType.Structure);
        }

        _depth--;
        _pendingName = default;
    }

    private void Name(ref Utf8JsonReader reader)
    {
        ref var frame = ref _frames[_depth];
        if (++frame.Count > _limits.MaxMembers)
            throw TooLarge($"The object has more than {_limits.MaxMembers} properties; no element of FHIR has so many.");
        var start = (int)reader.TokenStartIndex + 1;
        var name = reader.ValueSpan;
        _pendingName = (start, name.Length);
        if (reader.ValueIsEscaped)
            Problem("The property name contains an escape. Write names of elements without escapes.", OperationOutcome.IssueType.Structure);
        foreach (var (s, l) in frame.Names!)
        {
            if (l == name.Length && _body.Slice(s, l).SequenceEqual(name))
            {
                Problem("The property occurs twice in the same object. Keep one of them.", OperationOutcome.IssueType.Structure);
                break;
            }
        }

        frame.Names.Add((start, name.Length));
    }

    private void Text(ref Utf8JsonReader reader)
    {
        if (_depth == 1 && _resourceType is null && _pendingName.Length == 12 && _body.Slice(_pendingName.Start, 12).SequenceEqual("resourceType"u8))
            _resourceType = reader.ValueIsEscaped || reader.ValueSpan.Length > 64 ? null : Encoding.UTF8.GetString(reader.ValueSpan);
        if (IsBlank(ref reader))
            Problem("The text is blank: white space alone would be lost in XML. Say something, or leave the element out.", OperationOutcome.IssueType.Value);
        if (reader.ValueIsEscaped)
        {
            var buffer = ArrayPool<char>.Shared.Rent(reader.ValueSpan.Length);
            try
            {
                var length = reader.CopyString(buffer);
                if (Characters.Refused(buffer.AsSpan(0, length)) is { } message)
                    Problem(message, OperationOutcome.IssueType.Value);
            }
            catch (InvalidOperationException)
            {
                Problem("The text contains half of a surrogate pair. Send whole characters.", OperationOutcome.IssueType.Value);
            }
            finally
            {
                ArrayPool<char>.Shared.Return(buffer);
            }
        }
        else if (reader.ValueSpan.IndexOf("\uFFFE"u8) >= 0 || reader.ValueSpan.IndexOf("\uFFFF"u8) >= 0)
        {
            Problem(Characters.NotACharacter, OperationOutcome.IssueType.Value);
        }
    }

    // Of nearly every text the first character tells already.
    private static bool IsBlank(ref Utf8JsonReader reader)
    {
        if (reader.ValueSpan is [] or [> (byte)' ' and < 0x7f and not (byte)'\\', ..])
            return false;
        try
        {
            return string.IsNullOrWhiteSpace(reader.GetString());
        }
        catch (InvalidOperationException)
        {
            return false; // Half a surrogate pair, which is told as that.
        }
    }

    private void Problem(string message, OperationOutcome.IssueType code)
    {
        if (_problems.Count < _limits.MaxIssues)
            _problems.Add((message, code, Steps()));
    }

    private readonly Step[] Steps()
    {
        var steps = new List<Step>();
        for (var d = 2; d <= _depth; d++)
        {
            if (_frames[d].IsArray)
            {
                var inside = d < _depth || _frames[d].Count > 0;
                steps.Add(new Step(NameOf(_frames[d].Name), inside ? _frames[d].Count - 1 : null));
            }
            else if (!_frames[d - 1].IsArray)
            {
                steps.Add(new Step(NameOf(_frames[d].Name), null));
            }
        }

        if (_pendingName.Length > 0)
            steps.Add(new Step(NameOf(_pendingName), null));
        return [.. steps];
    }

    private readonly string NameOf((int Start, int Length) name) => Encoding.UTF8.GetString(_body.Slice(name.Start, Math.Min(name.Length, 64)));

    private readonly string PathHere() => ElementPath.Of(_resourceType, Steps());

    private readonly List<Issue> Issues()
    {
        var issues = new List<Issue>(_problems.Count);
        foreach (var (message, code, steps) in _problems)
            issues.Add(Issue.Error(code, message, ElementPath.Of(_resourceType, steps)));
        return issues;
    }

    private readonly RefusedException TooLarge(string message) =>
        new(Refusal.TooLarge, OperationOutcome.IssueType.TooLong, message, PathHere());

    private readonly string SyntaxMessage(JsonException e)
    {
        var place = e.LineNumber is { } line ? $" at line {line + 1}, byte {(e.BytePositionInLine ?? 0) + 1} of it" : "";
        return e.Message.Contains("maximum configured depth", StringComparison.Ordinal)
            ? $"The JSON is nested deeper than {_limits.MaxDepth} levels{place}."
            : $"The body is not JSON as FHIR uses it (no comments, no trailing commas, nothing after the end){place}.";
    }

    private struct Frame
    {
        public bool IsArray;
        public int Count;
        public (int Start, int Length) Name;
        public List<(int Start, int Length)> Names;
    }
}
