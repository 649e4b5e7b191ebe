using Xunit.Abstractions;
using Xunit.Sdk;

namespace RehabRecords.Tests;

/// <summary>A test of what only a database server has. There is no such test where the tests run on SQLite, rather than one that is passed over.</summary>
[AttributeUsage(AttributeTargets.Method)]
[XunitTestCaseDiscoverer("RehabRecords.Tests.OnPostgresqlDiscoverer", "RehabRecords.Tests")]
public sealed class OnPostgresqlAttribute : FactAttribute;

public sealed class OnPostgresqlDiscoverer(IMessageSink messages) : IXunitTestCaseDiscoverer
{
    public IEnumerable<IXunitTestCase> Discover(ITestFrameworkDiscoveryOptions discoveryOptions, ITestMethod testMethod, IAttributeInfo factAttribute) => TestEngine.IsPostgresql
        ? [new XunitTestCase(messages, discoveryOptions.MethodDisplayOrDefault(), discoveryOptions.MethodDisplayOptionsOrDefault(), testMethod)]
        : [];
}
