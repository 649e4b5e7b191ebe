using RehabRecords.Fhir;

namespace RehabRecords.Rest.Operations;

/// <summary>On what an operation can be called.</summary>
[Flags]
internal enum Level
{
    System = 1,
    Type = 2,
    Instance = 4,
}

/// <summary>
/// One FHIR operation. Routes and CapabilityStatement are made from it; a feature registers its own with
/// <see cref="OperationRegistration.AddOperation"/>.
/// </summary>
/// <param name="Name">Without the dollar sign.</param>
/// <param name="Definition">Canonical of its OperationDefinition.</param>
/// <param name="AnswerAsync">Answers one call; <see cref="Arguments"/> reads what it was called with.</param>
internal sealed record Operation(string Name, string Definition, Level Levels, Func<Call, Task<IResult>> AnswerAsync)
{
    /// <summary>The resource types it is offered on; none means every type of the registry.</summary>
    public IReadOnlyList<string> Types { get; init; } = [];

    /// <summary>GET belongs only to what changes nothing and can be asked for by simple values.</summary>
    public IReadOnlyList<string> Methods { get; init; } = ["GET", "HEAD", "POST"];

    /// <summary>What it can carry may be as long as a Bundle.</summary>
    public bool TakesBundle { get; init; }

    /// <summary>Something its definition does not say and a caller must know; shown in the CapabilityStatement.</summary>
    public string? Documentation { get; init; }

    public bool IsOn(Level level) => Levels.HasFlag(level);

    public bool IsOfType(string type) => (Levels & (Level.Type | Level.Instance)) != 0 && (Types.Count == 0 || Types.Contains(type));

    /// <summary>Where it is called, as paths below the base.</summary>
    public IEnumerable<(string Type, string Path)> Places(ResourceRegistry registry)
    {
        if (IsOn(Level.System))
            yield return ("", $"/${Name}");
        foreach (var type in registry.Kinds.Select(k => k.Type).Where(IsOfType))
        {
            if (IsOn(Level.Type))
                yield return (type, $"/{type}/${Name}");
            if (IsOn(Level.Instance))
                yield return (type, $"/{type}/{{id}}/${Name}");
        }
    }
}

internal static class OperationRegistration
{
    public static void AddOperation(this IServiceCollection services, Operation operation) => services.AddSingleton(operation);
}
